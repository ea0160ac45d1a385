r"""Every sentence a person reads goes through gettext from here.

Usage: `from studyapp.words import _, ngettext`. Sentences are whole, with named placeholders:
`_("Stop at {h} hours.").format(h=12)`. The language belongs to the person, so it is a context variable.

`studyapp.pot` is the template of every catalogue. After a change of words, from the top of the project:

    pybabel extract -k _ -k ngettext:1,2 -c Translators: --no-location --sort-output --no-wrap --omit-header \
        -o studyapp/words/studyapp.pot studyapp

A language is added by `pybabel init -i studyapp/words/studyapp.pot -D studyapp -d studyapp/words -l fr`, kept up by
`pybabel update` and made ready by `pybabel compile` with the same -D and -d. Whoever's browser asks for it then reads
it: `app` and `routes` speak the nearest language of each reader. No language but English travels yet: a
caution is released in a language only after a second reader who speaks it.
"""

from __future__ import annotations

import gettext
from contextvars import ContextVar
from functools import cache
from importlib.resources import files
from pathlib import Path

FOLDER = str(files("studyapp.words"))
ENGLISH = "en"
_language: ContextVar[str] = ContextVar("language", default=ENGLISH)


@cache
def _catalogue(language: str) -> gettext.NullTranslations:
    return gettext.translation("studyapp", FOLDER, [language], fallback=True)


def speak(language: str) -> None:
    """Choose the language of the current context, for example "fr"."""
    _language.set(language)


def nearest(asked: str) -> str:
    """The language that travels with the app and is asked for first, in the form of a browser ("fr-CA,fr;q=0.9,en").

    English where none is. What is asked for is only compared with the catalogues there are, never made a path of.
    """
    there = _languages()
    wanted = [part.partition(";")[0].strip().replace("-", "_") for part in asked.split(",")]
    for code in wanted:
        for name in (code, code.partition("_")[0]):
            if name in there:
                return name
    return ENGLISH


@cache
def _languages() -> frozenset[str]:
    """English, and every language with a catalogue made ready."""
    ready = Path(FOLDER).glob("*/LC_MESSAGES/studyapp.mo")
    return frozenset({ENGLISH, *(file.parent.parent.name for file in ready)})


def language() -> str:
    """The language of the current context."""
    return _language.get()


def _(sentence: str) -> str:
    """The sentence in the current language."""
    return _catalogue(_language.get()).gettext(sentence)


def ngettext(one: str, many: str, count: int) -> str:
    """The singular or plural sentence in the current language."""
    return _catalogue(_language.get()).ngettext(one, many, count)
