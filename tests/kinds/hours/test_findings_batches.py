"""What each of several batches did at the chosen hour, as a table beside the claim."""

from __future__ import annotations

from dataclasses import replace

from analysis.stopping.departing import BatchNumbers
from studyapp.kinds.hours.findings.batches import at_hour, rings_intro
from studyapp.kinds.hours.plan import EACH, RECIPE
from tests.kinds.hours.decisions import ACIDITY, HOURS, attribute, decision

STOPS = decision(attribute("acidity", ACIDITY), hours=12.0, passes={hour: hour >= 12 for hour in HOURS})
TOLD = BatchNumbers(
    ("31", "32"),
    tuple(HOURS),
    differences={"acidity": {"31": tuple(hour / 10 for hour in HOURS), "32": (None,) * len(HOURS)}},
)


def test_every_batch_has_a_line_at_the_chosen_hour() -> None:
    """By hand: 12 h of batch 31 is worse by 1.2; batch 32 lacks the pull. Of one batch there is no table."""
    assert at_hour(STOPS) is None
    told = at_hour(replace(STOPS, claim=RECIPE, batches=TOLD))
    assert told == (["batch", "acidity, worse by"], [["31", "1.2"], ["32", "–"]])
    assert at_hour(replace(STOPS, batches=TOLD, hours=None)) is None


def test_the_legend_says_what_a_ring_is() -> None:
    """Other words where each batch was judged for itself; nothing of one batch."""
    assert rings_intro(STOPS) == ""
    assert "over all batches" in rings_intro(replace(STOPS, claim=RECIPE, batches=TOLD))
    assert "its own bar" in rings_intro(replace(STOPS, claim=EACH, batches=TOLD))
