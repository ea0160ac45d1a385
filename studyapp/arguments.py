"""Values of options, read with our own sentences, and results laid out as text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from studyapp.errors import BadInput
from studyapp.words import _

if TYPE_CHECKING:
    from studyapp.findings.facts import Fact, TrialFinding

WIDTH = 100


class Number(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.3 on
    """A decimal number; anything else is refused in one sentence."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the text of an option. Raises BadInput."""
        try:
            number = float(value)
        except ValueError:
            number = float("nan")
        if number != number or abs(number) == float("inf"):
            raise BadInput(
                _("Fix {option}: “{value}” is not a number. Write it in digits.").format(
                    option=_option(param), value=_short(value)
                )
            )
        return number


class Whole(click.ParamType):  # type: ignore[type-arg]
    """A whole number; anything else is refused in one sentence."""

    name = "count"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read the text of an option. Raises BadInput."""
        try:
            return int(value)
        except ValueError as problem:
            raise BadInput(
                _("Fix {option}: “{value}” is not a whole number. Write it in digits.").format(
                    option=_option(param), value=_short(value)
                )
            ) from problem


def needed(value: Any, option: str, what: str) -> Any:
    """The value of an option that has no default. Raises BadInput."""
    if value is None:
        raise BadInput(_("Fix {option}: it is missing. Give {what}.").format(option=option, what=what))
    return value


def store_url(store: str | None) -> str:
    """The store named on the command line, or else in the settings; a plain path is an SQLite file."""
    from studyapp.settings import settings

    url = store or settings().store
    return url if "://" in url else f"sqlite:///{url}"


def as_json(document: dict[str, Any]) -> str:
    """One JSON object, indented."""
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)


def made_from(*files: Path) -> dict[str, Any]:
    """What JSON says of where it comes from: this version of the app, and the name and hash of every file read."""
    read = [{"name": each.name, "sha256": hashlib.sha256(each.read_bytes()).hexdigest()} for each in files]
    return {"app_version": version("studyapp"), "files": read}


def as_text(finding: TrialFinding) -> str:
    """A finding: sentence, reason, numbers, conditions, warnings, caution."""
    parts = [
        finding.headline,
        wrapped(finding.lede),
        wrapped(finding.then),
        fact_lines(finding.facts),
        "\n".join(wrapped(sentence) for sentence in finding.changes),
        listed(_("Careful"), finding.warnings),
        wrapped(finding.caution),
    ]
    return "\n\n".join(part for part in parts if part)


def wrapped(text: str, indent: str = "") -> str:
    """Text in lines that a terminal shows whole."""
    return click.wrap_text(text, WIDTH, indent, " " * len(indent)) if text else ""


def listed(heading: str, sentences: Sequence[str]) -> str:
    """A heading and a dash before each sentence; nothing when there are none."""
    return "\n".join([heading, *(wrapped(sentence, "- ") for sentence in sentences)]) if sentences else ""


def fact_lines(facts: Sequence[Fact]) -> str:
    """Facts below each other: label, value, note in brackets."""
    label = max((len(fact.label) for fact in facts), default=0)
    value = max((len(fact.value) for fact in facts), default=0)
    return "\n".join(
        f"{fact.label:<{label}}  {fact.value:<{value}}  {f'({fact.note})' if fact.note else ''}".rstrip()
        for fact in facts
    )


def _option(param: click.Parameter | None) -> str:
    return param.opts[0] if param is not None else _("the value")


def _short(value: Any) -> str:
    text = "".join(letter if letter.isprintable() else " " for letter in str(value))
    return text if len(text) <= 40 else f"{text[:40]}…"
