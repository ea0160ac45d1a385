"""Every verdict of an aroma study, with every reason it can have, says what to do next."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import product
from typing import Any, get_args

import pytest

from analysis.choice import carry_over, forced_choice, sequential, threshold
from studyapp.kinds.aroma.findings import next_steps
from studyapp.kinds.aroma.findings.rounds import then as end_of_round


def _all(literal: Any) -> set[str]:
    """The texts of a Literal, or of a union of them."""
    return {text for part in get_args(literal) for text in (_all(part) or {part})}


LISTS: list[tuple[Callable[[str, str | None], str], Any, Any]] = [
    (next_steps.after_test, forced_choice.Verdict, forced_choice.Reason),
    (next_steps.after_rounds, sequential.Standing, sequential.Why),
    (next_steps.after_ladder, carry_over.LadderVerdict, carry_over.LadderReason),
    (
        partial(next_steps.after_ladder, aim="aftertaste"),
        carry_over.LadderVerdict,
        carry_over.LadderReason,
    ),
    (next_steps.after_doses, threshold.DoseVerdict, threshold.DoseReason),
]


@pytest.mark.parametrize(("says", "verdicts", "reasons"), LISTS)
def test_every_verdict_and_reason_has_a_next_step(
    says: Callable[[str, str | None], str], verdicts: Any, reasons: Any
) -> None:
    """One sentence or two that begin with what to do; only "cannot tell" has reasons, and each its own."""
    told = _all(verdicts) - {"cannot tell"}
    pairs = [*product(told, (None,)), *product(("cannot tell",), _all(reasons))]
    assert len(pairs) > len(told) > 1
    for pair in pairs:
        assert says(*pair).startswith("Next: "), pair
    with pytest.raises(KeyError):
        says("cannot tell", None)


def test_every_end_of_a_round_has_its_word() -> None:
    """None is left to a fallback."""
    assert len({end_of_round(standing) for standing in get_args(sequential.Standing)}) == 4
