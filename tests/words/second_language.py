"""A made-up language for tests: every sentence in brackets, so that every piece from elsewhere shows."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

import studyapp

TEMPLATE = Path(studyapp.__file__).parent / "words" / "studyapp.pot"


def template() -> Catalog:
    """The template as committed."""
    return read_po(BytesIO(TEMPLATE.read_bytes()))


def bracketed(sentence: str) -> str:
    """The same words in brackets."""
    return f"⟦{sentence}⟧"


def made_ready(folder: Path, language: str) -> None:
    """A compiled catalogue of the language in a folder of catalogues."""
    catalogue = Catalog(locale=language)
    for message in template():
        if isinstance(message.id, tuple):
            forms = (message.id[min(form, 1)] for form in range(catalogue.num_plurals))
            catalogue.add(message.id, tuple(bracketed(text) for text in forms))
        elif message.id:
            catalogue.add(message.id, bracketed(message.id))
    there = folder / language / "LC_MESSAGES"
    there.mkdir(parents=True)
    with (there / "studyapp.mo").open("wb") as file:
        write_mo(file, catalogue)
