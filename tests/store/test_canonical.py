"""Canonical JSON against the vectors published in RFC 8785 (appendix B; sections 3.2.2 to 3.2.4)."""

from __future__ import annotations

import hashlib
import math
import struct
from typing import Any

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from studyapp.store import canonical
from studyapp.store.events import digest

# RFC 8785, appendix B: bits of an IEEE 754 double, and its canonical text.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_a_number_is_written_as_the_standard_prints_it(bits: str, text: str) -> None:
    """Two machines that seal the same number write the same characters."""
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert rfc8785.dumps(number).decode() == text
    assert digest(number) == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, 2**53 + 1])
def test_a_number_without_one_text_is_refused(number: float) -> None:
    """What JSON cannot hold exactly is never sealed under a guess (RFC 8785, 3.2.2.3 and appendix D)."""
    with pytest.raises(ValueError, match=r".+"):
        digest(number)


def test_keys_are_sorted_by_their_utf16_units() -> None:
    """RFC 8785, section 3.2.3: an emoji sorts before a Hebrew letter because its surrogates are smaller."""
    value = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\x80": "Control",
        "\xf6": "Latin Small Letter O With Diaeresis",
    }
    written = rfc8785.dumps(value).decode()
    places = [written.index(name) for name in value.values()]
    order = [name for _place, name in sorted(zip(places, value.values(), strict=True))]
    assert order == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def test_strings_literals_and_arrays_are_written_as_in_the_example() -> None:
    """RFC 8785, section 3.2.4: the whole example, byte for byte."""
    value = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 1e-27],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    expected = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert rfc8785.dumps(value) == expected.encode()


# ---- the fast way ----------------------------------------------------------------------------------------------------
_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.floats(-10, 10).map(lambda number: round(number, 2))
    | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner) | st.dictionaries(st.text("abz_ "), inner),
    max_leaves=12,
)


@given(_VALUES)
@example([1e-5, 1e-4, 9.999e-5, 2.0**53, 2.0**53 + 2, 1e16, 1e20, -0.0, 24.0, 0.1 + 0.2, 5e-324])
@example({"\u007f": "\u007f\u2028\u0000\t", "é": 1, "b": "\U0001f600"})
def test_the_fast_way_writes_what_the_reference_writes(value: Any) -> None:
    """Byte for byte, or the same refusal; the reference is the package rfc8785."""
    try:
        wanted: Any = rfc8785.dumps(value)
    except ValueError as refused:
        wanted = type(refused)
    try:
        found: Any = canonical.dumps(value)
    except ValueError as refused:
        found = type(refused)
    assert found == wanted
