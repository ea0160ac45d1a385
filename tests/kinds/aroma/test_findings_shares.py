"""The dose or time of a chosen share in words: digits that hold, and nothing outside what was asked about."""

from __future__ import annotations

import pytest

from analysis.choice.threshold import DosePoint, ShareLevel, Where
from studyapp.kinds.aroma.findings.shares import noticed_facts


def point(value: float | None, where: Where = "tasted") -> DosePoint:
    return DosePoint(value, where)


def said(level: ShareLevel, fades: bool = True) -> tuple[str, str, str]:
    (fact,) = noticed_facts((level,), (30.0, 60.0, 120.0), fades, lambda number: f"{number} s")
    return fact.label, fact.value, fact.note


def test_the_last_digit_is_the_first_that_the_limits_leave_open() -> None:
    """JCGM 100:2008, 7.2.6: 60.29 with 13 to the nearer limit is told in tens; limits go outwards."""
    level = ShareLevel(0.5, point(60.29), point(47.1), point(91.96))
    assert said(level) == ("50 % still notice it", "until about 60 s", "at least 40 s, at most 100 s")
    close = ShareLevel(0.8, point(60.29), point(57.6), point(64.44))
    assert said(close, fades=False) == ("80 % notice it", "from about 60 s on", "at least 57 s, at most 65 s")
    fine = ShareLevel(0.8, point(60.29), point(60.05), point(60.44))
    assert said(fine)[1:] == ("until about 60.3 s", "at least 60.0 s, at most 60.5 s")


def test_no_rounding_leaves_what_was_asked_about() -> None:
    """A limit at 34 s in tens is 30 s, the first time; at 118 s it is 120 s, the last one, and never farther."""
    assert said(ShareLevel(0.5, point(70.0), point(31.0), point(119.0)))[2] == "at least 30 s, at most 120 s"


@pytest.mark.parametrize(
    ("level", "fades", "value", "note"),
    [
        ((point(None, "above"), point(None, "above"), point(None, "above")), True, "still at 120 s",
         "at least 120 s, no upper limit"),
        ((point(None, "below"), point(None, "below"), point(None, "below")), True, "not even until 30 s",
         "no lower limit, at most 30 s"),
        ((point(None, "above"), point(None, "below"), point(None, "above")), False, "not up to 120 s",
         "no limit within what was asked about"),
        ((point(None, "below"), point(None, "below"), point(88.0), ), False, "already at 30 s",
         "no lower limit, at most 90 s"),
    ],
)  # fmt: skip
def test_what_was_not_asked_about_gets_no_number(
    level: tuple[DosePoint, DosePoint, DosePoint], fades: bool, value: str, note: str
) -> None:
    assert said(ShareLevel(0.5, *level), fades)[1:] == (value, note)
