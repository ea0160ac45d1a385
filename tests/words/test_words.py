"""Every sentence goes through the catalogue, whole, with named placeholders, and a second language works."""

from __future__ import annotations

import ast
import asyncio
import json
import string
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from babel.messages.extract import extract_from_dir
from starlette.requests import Request

import studyapp
from analysis.stopping.cross_check import AttributeCheck
from studyapp import words
from studyapp.findings import caution
from studyapp.kinds.hours.findings import Costs, attribute_alt, hours_finding, pull_says, warning_sentence
from studyapp.kinds.hours.findings.cross_check import opinion_intro, second_opinions
from studyapp.kinds.hours.findings.warnings import warning_codes
from studyapp.routes import routes
from studyapp.store import Store
from tests.kinds.hours.decisions import OFFERS, every_kind
from tests.kinds.hours.test_findings_cross_check import ANOVA, MIXED, OURS
from tests.kinds.hours.test_findings_warnings import VALUES
from tests.words.second_language import template

ROOT = Path(studyapp.__file__).parent
HOW = "Run the `pybabel extract` line that stands in studyapp/words/__init__.py."


def calls() -> Iterator[tuple[Path, ast.Call]]:
    """Every call of `_` and `ngettext` in the package."""
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("_", "ngettext"):
                yield path, node


def placeholders(sentence: str) -> set[str]:
    """Names in braces; an empty name or a number stands for itself."""
    return {name for _text, name, _spec, _conversion in string.Formatter().parse(sentence) if name is not None}


def test_the_template_holds_the_words_of_today() -> None:
    """A sentence that is missing there can never be translated; one too many wastes a translator's time."""
    extracted = {message for _file, _line, message, _comments, _context in extract_from_dir(ROOT, keywords=_keywords())}
    kept = {message.id for message in template() if message.id}
    assert extracted - kept == set(), HOW
    assert kept - extracted == set(), HOW


def _keywords() -> dict[str, tuple[int, ...] | None]:
    return {"_": None, "ngettext": (1, 2)}


def test_a_sentence_is_written_out_where_it_is_used() -> None:
    """No f-string, sum or variable inside `_()`: the extractor reads the source and would not see them."""
    wrong = []
    for path, call in calls():
        texts = call.args[:1] if isinstance(call.func, ast.Name) and call.func.id == "_" else call.args[:2]
        if not texts or not all(isinstance(text, ast.Constant) and isinstance(text.value, str) for text in texts):
            wrong.append(f"{path.relative_to(ROOT)}:{call.lineno}")
    assert wrong == []


def test_placeholders_have_names() -> None:
    """A translator must be able to turn a sentence round, so no number and no empty braces."""
    wrong = [
        message.id
        for message in template()
        for sentence in (message.id if isinstance(message.id, tuple) else (message.id,))
        if any(not name.isidentifier() for name in placeholders(sentence)) or "%s" in sentence or "%d" in sentence
    ]
    assert wrong == []


def test_one_asks_for_nothing_that_many_does_not_fill() -> None:
    """A singular may leave the number out; a name that only it knows would fail for one person alone."""
    pairs = [message.id for message in template() if isinstance(message.id, tuple)]
    assert pairs
    assert [pair for pair in pairs if placeholders(pair[0]) - placeholders(pair[1])] == []


# ---- a second language -------------------------------------------------------------------------------------------
def outside(text: str) -> str:
    """What stands outside all brackets."""
    depth, left = 0, []
    for letter in text:
        depth += letter == "⟦"
        if depth == 0:
            left.append(letter)
        depth -= letter == "⟧"
    return "".join(left).strip()


@pytest.mark.parametrize("kind", every_kind())
@pytest.mark.usefixtures("second_language")
def test_every_sentence_of_a_finding_comes_from_the_catalogue(kind: str) -> None:
    """Nothing of a verdict is glued together outside a translatable sentence."""
    decided = every_kind()[kind]
    finding = hours_finding(decided, OFFERS, "Dark 72 %", Costs(4.5, 6.0))
    said = [finding.headline, finding.lede, finding.charts_intro, finding.caution, *finding.changes]
    said += [fact.label for fact in finding.facts]
    said += [getattr(row, field.name) for row in finding.offers for field in fields(row)]
    said += [attribute_alt(result) for result in decided.attributes.values()]
    said += [pull_says(result, pull) for result in decided.attributes.values() for pull in result.pulls]
    assert [text for text in said if outside(text)] == []
    assert all("⟦" in text for text in said)


@pytest.mark.parametrize("anova", ANOVA)
@pytest.mark.parametrize("mixed", MIXED)
@pytest.mark.usefixtures("second_language")
def test_every_sentence_of_a_second_opinion_comes_from_the_catalogue(mixed: str, anova: str) -> None:
    """Sentences whole, and what the rows are called."""
    check = AttributeCheck("acidity", 24.0, OURS, MIXED[mixed], ANOVA[anova])
    [opinion] = second_opinions({"acidity": check})
    assert [text for text in (opinion_intro(), *opinion.says) if outside(text)] == []
    assert [first for first, *_rest in opinion.rows if outside(first)] == []


@pytest.mark.usefixtures("second_language")
def test_a_comma_can_be_the_decimal_sign() -> None:
    """Numbers are written by the catalogue as well."""
    from studyapp.findings import units

    assert units(4.5) == "⟦4.5⟧"


def test_a_language_without_a_catalogue_falls_back_to_english() -> None:
    """Better the source sentence than none."""
    before = words.language()
    words.speak("xx")
    try:
        assert words._("Tray sheets, {sitting}") == "Tray sheets, {sitting}"
        assert words.ngettext("{n} cup", "{n} cups", 2) == "{n} cups"
    finally:
        words.speak(before)


def test_the_language_belongs_to_the_context_not_to_the_server() -> None:
    """Two people at once read two languages."""
    import contextvars

    other = contextvars.copy_context()
    other.run(words.speak, "fr")
    assert other.run(words.language) == "fr"
    assert words.language() == "en"


@pytest.mark.usefixtures("second_language")
def test_the_caution_and_the_warnings_are_spoken_too() -> None:
    """They matter most to the person who reads them."""
    from analysis.stopping import Warning as StopWarning

    assert outside(caution()) == ""
    for code in sorted(warning_codes()):
        values = VALUES | ({"assessors": ("Lark", "Heron")} if code == "one person's copies" else {})
        assert outside(warning_sentence(StopWarning(code, values))) == "", code


# ---- whose language ----------------------------------------------------------------------------------------------
ASKED = {
    "": "en",
    "fr": "fr",
    "fr-CA,fr;q=0.9,en;q=0.8": "fr",
    "de-AT, de;q=0.9, fr;q=0.5": "fr",
    "en-GB,en;q=0.9,fr;q=0.8": "en",
    "../fr": "en",
    "*": "en",
}


@pytest.mark.parametrize("asked", ASKED)
@pytest.mark.usefixtures("second_language")
def test_the_first_language_asked_for_that_is_there(asked: str) -> None:
    """In the form of RFC 9110, 12.5.4; what is there besides English is one invented language."""
    assert words.nearest(asked) == ASKED[asked]


@pytest.mark.usefixtures("second_language")
@pytest.mark.parametrize(("asked", "opens"), [("fr-CA,fr;q=0.9", "⟦"), ("en", "N")])
def test_a_refusal_is_spoken_to_who_asked(asked: str, opens: str) -> None:
    """By the header of the request."""
    [sign_in] = [route for route in routes(_no_store) if route.path == "/sign-in"]

    async def nothing() -> dict[str, Any]:
        return {"type": "http.request", "body": b"{}"}

    header = (b"accept-language", asked.encode())
    request = Request({"type": "http", "method": "POST", "path": "/sign-in", "headers": [header]}, nothing)
    # In a thread of its own: a browser test before this one may have left its loop running in this one.
    with ThreadPoolExecutor(1) as thread:
        answer = thread.submit(asyncio.run, sign_in.endpoint(request)).result()
    assert answer.status_code == 400
    assert json.loads(answer.body)["sentence"].startswith(opens)


def _no_store() -> Store:
    raise AssertionError("refused before any store is asked")
