"""What may be wanted of an attribute: words for every wish that the rule knows, and which way is worse."""

from __future__ import annotations

from typing import get_args

import pytest

from analysis.stopping import AttributeRule
from analysis.stopping.rule import Wanted
from studyapp import records
from studyapp.wishes import WISHES


def test_every_wish_of_the_rule_has_words() -> None:
    """The rule, the plan's records and the words know the same wishes."""
    assert list(WISHES) == list(get_args(Wanted)) == list(get_args(records.Wanted))


@pytest.mark.parametrize(
    ("wanted", "sign", "both_ways"), [("lower", 1, False), ("higher", -1, False), ("same", 1, True)]
)
def test_which_way_is_worse(wanted: Wanted, sign: float, both_ways: bool) -> None:
    """By what the words mean: less is wanted, so more is worse; no change is wanted, so any is."""
    rule = AttributeRule(wanted, 1.0)
    assert (rule.sign, rule.both_ways) == (sign, both_ways)
