"""Words that a workshop does not use stand on no page and no paper. The list is our own, of words that leaders and
preparers stumbled over when they read the screens; there is no standard for it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import studyapp
from tests.words.second_language import template

ROOT = Path(studyapp.__file__).parent
# What was said before: what is said instead.
PLAIN = {
    r"\bbind(s|ing)?\b": "decides the hour",
    r"\b(first|second|next|last|each|every|this|later|one|no|\d) looks?\b": "opening of the key",
    r"\blooks? (allowed|are|is) ": "how often the key may be opened",
    r"\blook (for a (design|plan)|again)\b": "find a plan, search again",
    r"\bpalates?\b": "person, people",
    r"\bhead of the (chain|record)\b": "seal of the record",
    r"\bchain of pulls\b": "this and all longer pulls",
    r"(?<!standard )\bdeviat|\bdeparted\b": "departure",
    r"(?<!\[)\bgates?\b(?![.:])": "limit",  # files keep the name of their key
    r"\bguard band": "guard",
    r"\bladder claim": "what may be said, and of what",
    r"\bconfound": "what else differed",
    r"\b(holm|tost|alpha)\b": "only in the numbers",
    r"(?<!--)\breplicates?\b": "portion, serving",
    r"\bsequential": "by rounds",
    r"\bpositive control": "a stronger one, known to differ",
    r"[□☐☑☒▢◻◽▫]": "a square is a thing that can be ticked; signs are drawn by the sheet",
}
SAID = (
    "decides the hour", "needs you", "How often the key may be opened", "Sittings before the key is first opened",
    "Find a plan", "Note a departure", "Seal of the record after", "most people tire",
)  # fmt: skip


def sentences() -> list[str]:
    """Every sentence of the catalogue, without the names of its places."""
    ids = [message.id for message in template() if message.id]
    texts = [text for one in ids for text in (one if isinstance(one, tuple) else (one,))]
    return [re.sub(r"\{\w+\}", "…", text) for text in texts]


@pytest.mark.parametrize(("word", "plain"), PLAIN.items(), ids=list(PLAIN.values()))
def test_no_sentence_uses_a_word_of_the_trade(word: str, plain: str) -> None:
    assert [text for text in sentences() if re.search(word, text, re.IGNORECASE)] == [], plain


def test_the_plain_words_are_the_ones_that_are_read() -> None:
    """So that the test before cannot pass on an empty catalogue, or on words that went without being replaced."""
    everything = "\n".join(sentences())
    assert [words for words in SAID if words.lower() not in everything.lower()] == []


def test_no_sign_of_a_font_looks_like_a_box_to_tick() -> None:
    """In what is written outside the catalogue: style sheets, pages of phones, papers, and the code of signs."""
    kinds = ("*.py", "*.css", "*.js", "*.html", "*.typ")
    texts = {file: file.read_text(encoding="utf-8") for kind in kinds for file in ROOT.rglob(kind)}
    assert len(texts) > 300
    assert [file.name for file, text in texts.items() if re.search("[□☐☑☒▢◻◽▫]", text)] == []
