"""Names and titles that people give: one spelling for what looks the same, and nothing that pretends.

Letters are put together as Unicode's normal form C has them (UAX #15). Refused is what the eye cannot see (controls,
marks that turn the direction of writing) and a word whose letters come from several scripts, such as a Cyrillic letter
among Latin ones: the idea of "single script" in UTS #39, section 5.1, told by the name that Unicode gives each letter.
"""

from __future__ import annotations

import re
import unicodedata

from studyapp.errors import BadInput
from studyapp.words import _

# Scripts that are written together: Japanese with Han, Korean with Han, Chinese with Bopomofo (UTS #39, table 1a).
TOGETHER = ({"CJK", "HIRAGANA", "KATAKANA"}, {"CJK", "HANGUL"}, {"CJK", "BOPOMOFO"})
UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
SYMBOLS = "\u00b5\u03bc\u0394\u03a9\u03c0"  # micro, mu, Delta, Omega and pi stand in titles beside Latin letters
_JOINERS = re.compile("(?<=[\u0600-\u0dff])[\u200c\u200d]")  # spelling in Arabic and Indic scripts needs them
# Small letters of which one form looks like a Latin letter; from memory of the confusables of UTS #39.
_LOOKS_LIKE = str.maketrans(
    "\u0430\u0432\u0435\u043a\u043c\u043d\u043e\u0440\u0441\u0442\u0443\u0445\u0456\u0455\u0458\u04bb"
    "\u03b1\u03b2\u03b5\u03b6\u03b7\u03b9\u03ba\u03bc\u03bd\u03bf\u03c1\u03c4\u03c5\u03c7",
    "abekmhopctyxisjhabezhikmnoptyx",
)


def spelled(text: str) -> str:
    """The text in normal form C, without space at its ends and with single spaces inside."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def clean(text: str) -> str:
    """The text as `spelled` has it.

    Raises:
        BadInput: it holds what cannot be seen, or a word of letters from several scripts.
    """
    if any(unicodedata.category(letter) in UNSEEN for letter in _JOINERS.sub("", text).strip()):
        raise BadInput(_("Fix the name: it holds a sign that cannot be seen. Write it anew instead of pasting it."))
    found = spelled(text)
    for word in re.findall(r"\w+", found):
        if _mixed(word):
            sentence = _("Fix the name: the letters of {word} come from several alphabets. Write it in one of them.")
            raise BadInput(sentence.format(word=word))
    return found


def alike(text: str) -> str:
    """What two names share that a reader takes for the same: case, width, ligatures and look-alikes do not count."""
    return unicodedata.normalize("NFKC", spelled(text)).casefold().translate(_LOOKS_LIKE)


def _mixed(word: str) -> bool:
    """Whether the letters of a word come from scripts that are not written together."""
    scripts = {_script(letter) for letter in word if letter.isalpha() and letter not in SYMBOLS} - {""}
    return len(scripts) > 1 and not any(scripts <= {*allowed, "LATIN"} for allowed in TOGETHER)


def _script(letter: str) -> str:
    """The first word of a letter's name is its script; empty for signs that several scripts use."""
    name = unicodedata.name(unicodedata.normalize("NFKC", letter)[0], "")
    return "" if unicodedata.category(letter) == "Lm" else re.split("[ -]", name)[0]
