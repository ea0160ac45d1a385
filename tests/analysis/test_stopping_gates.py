"""Flavour and instruments in one verdict: outcomes made apart, and cases small enough to check by hand."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.instruments import Gate
from analysis.model.scores import Scores, cells_of
from analysis.planning import Design, operating_characteristics, price
from analysis.planning.drawn_readings import GateTruth, read_gates
from analysis.planning.look_batches import cells_under, look_at_cells
from analysis.planning.simulation import AttributeTruth, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Decision, Rule, decide
from analysis.stopping.evidence import Levels
from analysis.stopping.gates import Gating
from analysis.stopping.verdicts import judge

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
THIN = Gate(quantity="viscosity", unit="Pa.s", at_most=4.0, log=True)
DRY = Gate(quantity="moisture", unit="%", at_most=1.0)
# Outcomes of 20,000 studies each by code written apart, numpy and scipy alone; Monte Carlo errors at most .0035.
MADE = json.loads((Path(__file__).parents[1] / "reference" / "14_gates.json").read_text(encoding="utf-8"))["scenarios"]
FLAT, SETTLED = (7.0, 5.0, 3.5, 3.5, 3.5, 3.5), (7.0, 3.5, 3.5, 3.5, 3.5, 3.5)
SCENARIOS = {
    "8 x 2, tau 6; viscosity 6": (first_order(HOURS, 7, 3.5, 6), THIN, GateTruth((6, 5, 4.4, 3.8, 3.4, 3.0), 0.03, 3)),
    "8 x 2, means 7, 5, 3.5 x 4; moisture": (FLAT, DRY, GateTruth((1.6, 1.4, 1.2, 1.05, 0.95, 0.8), 0.04, 2)),
    "8 x 2, means 7, 5, 3.5 x 4; viscosity 6, 5.5": (FLAT, THIN, GateTruth((6, 5.5, 5.2, 5, 4.8, 4.4), 0.03, 3)),
    "8 x 2, means 7, 5, 3.5 x 4; viscosity 5 x 6": (FLAT, THIN, GateTruth((5,) * 6, 0.03, 3)),
    "8 x 2, means 7, 3.5 x 5; viscosity": (SETTLED, THIN, GateTruth((6, 5, 4.4, 4.0, 3.4, 3.0), 0.03, 3)),
    "8 x 2, means 7, 5, 3.5 x 4; viscosity 6, 5, 3.6": (
        FLAT,
        replace(THIN, until=16.0),
        GateTruth((6, 5, 3.6, 3.4, 3.5, 4.2), 0.03, 3),
    ),
}


@pytest.mark.simulation
@pytest.mark.parametrize("name", SCENARIOS)
def test_outcomes_made_apart_come_out(name: str, draws: Callable[[int, int], int]) -> None:
    """Every verdict and hour within four Monte Carlo errors of both runs."""
    mean, gate, read = SCENARIOS[name]
    (made,) = (own for told, own in MADE.items() if told.startswith(name))
    n = draws(400, 20_000)
    scenario = Scenario(HOURS, {"note": AttributeTruth(mean)}, gates={"limit": read})
    rule = Rule({"note": AttributeRule("lower", 1.0)}, gates={"limit": gate})
    found = operating_characteristics(scenario, rule, Design(8, 2), n, 5)
    stops = {f"stop at pull {at}": chance for at, chance in enumerate(found.stop.values())}
    others = {
        "conche longer": found.conche_longer,
        "no hour fits": found.no_hour_fits,
        "cannot tell": found.cannot_tell,
    }
    for told, chance in {**stops, **others}.items():
        error = np.sqrt(max(made[told] * (1 - made[told]), 1 / n) * (1 / n + 1 / 20_000))
        assert abs(chance - made[told]) < 4 * error, told


# ---- one study -------------------------------------------------------------------------------------------------------
def scores(means: Sequence[float], batch: str | None = None) -> pd.DataFrame:
    """Eight people, two servings, little noise that cancels over servings."""
    rows = [
        (f"A{a}", hour, "note", mean + 0.3 * (a % 4) + 0.1 * ((3 * a + int(hour) + 5 * r) % 7), r + 1)
        for a in range(8)
        for hour, mean in zip(HOURS, means, strict=True)
        for r in range(2)
    ]
    found = pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score", "replicate"])
    return found if batch is None else found.assign(batch=batch)


def readings(means: Sequence[float | None], quantity: str = "viscosity", batch: str | None = None) -> pd.DataFrame:
    """Three portions of every pull with a mean, 2 % apart."""
    rows = [
        (hour, quantity, mean * factor)
        for hour, mean in zip(HOURS, means, strict=True)
        if mean is not None
        for factor in (0.98, 1.0, 1.02)
    ]
    found = pd.DataFrame(rows, columns=["hours", "quantity", "value"])
    return found if batch is None else found.assign(batch=batch)


READY_AT_8 = (7.0, 5.5, 3.5, 3.5, 3.5, 3.5)
RULE = Rule({"note": AttributeRule("lower", 1.0)}, gates={"thin": THIN})


def decided(means: Sequence[float | None], rule: Rule = RULE, taste: Sequence[float] = READY_AT_8) -> Decision:
    """The verdict on flavour that is ready at 8 h, and these viscosities."""
    return decide(scores(taste), rule, readings(means))


def test_what_asks_for_the_longest_pull_decides() -> None:
    """Flavour alone stops at 8 h; a viscosity that keeps its limit from 12 h on makes it 12 h, from 4 h on not."""
    late = decided((6, 5, 4.4, 3.5, 3.2, 3.0))
    assert (late.verdict, late.hours, late.binding, late.next_binding) == ("stop", 12, "thin", "note")
    assert late.taste is not None
    assert (late.taste.verdict, late.taste.hours) == ("stop", 8)
    assert late.fails_on[8.0] == ("thin",)
    early = decided((6, 3.6, 3.4, 3.3, 3.2, 3.0))
    assert (early.hours, early.binding) == (8, "note")
    assert [pull.answer for pull in early.gates[0].pulls] == ["fails", *["passes"] * 5]


def test_an_open_limit_leaves_the_question_open_and_says_what_would_settle_it() -> None:
    """A mean within its guard, a pull not read, no readings at all: never `stop`, and no sitting is priced."""
    near = decided((6, 5, 3.92, 3.4, 3.2, 3.0), replace(RULE, looks=2))
    assert (near.verdict, near.reason) == ("stop", None)  # 12 h passes
    near = decided((6, 5, 4.4, 3.5, 3.2, 3.95), replace(RULE, looks=2))
    assert (near.verdict, near.reason) == ("cannot tell", "limits of instruments")
    (more,) = near.more_repeats
    assert (more.gate, more.hours) == ("thin", 24)
    assert more.chance is not None
    table = readings((6, 5, 4.4, 3.5, 3.2, 3.95))
    assert price(scores(READY_AT_8), replace(RULE, looks=2), 20, readings=table) == ()
    unread = decided((6, 5, 3.5, 3.4, None, 3.0))
    assert (unread.verdict, unread.gates[0].pulls[4].why) == ("cannot tell", "not read")
    nothing = decide(scores(READY_AT_8), RULE)
    assert (nothing.verdict, nothing.reason) == ("cannot tell", "limits of instruments")


def test_a_limit_is_asked_until_and_no_later_pull_is_chosen() -> None:
    """A mass that thickens again stops nowhere, unless the limit ends before; beyond its end nothing is chosen."""
    turning = (6, 5, 3.4, 3.3, 3.4, 4.8)
    whole = decided(turning)
    assert (whole.verdict, whole.gates[0].turns) == ("cannot tell", True)
    part = decided(turning, replace(RULE, gates={"thin": replace(THIN, until=16.0)}))
    assert (part.verdict, part.hours) == ("stop", 8)
    short = decided((6, 5, 3.4, 3.3, 3.4, 3.0), replace(RULE, gates={"thin": replace(THIN, until=4.0)}))
    assert short.verdict == "cannot tell"


def test_conching_longer_may_pay_for_the_mass_alone() -> None:
    """Flavour is done at 8 h, the mass still thins and is shown too thick at the end; one that is merely open there, or
    no longer thins, does not ask for more hours."""
    assert decided((8, 7, 6.4, 6, 5.5, 5.0)).verdict == "conche longer"
    assert decided((8, 7, 6.4, 6, 5.5, 4.03)).verdict == "cannot tell"
    none = decided((8, 7, 6, 5, 5, 5))
    assert (none.verdict, none.fails_on[24.0]) == ("no hour fits", ("thin",))
    # By limits of instruments alone that needs nobody to find the control.
    asleep = decided((8, 7, 6, 5, 5, 5), taste=(3.5,) * 6)
    assert (asleep.verdict, asleep.control_found) == ("no hour fits", False)


def test_every_statement_that_could_fail_shares_the_level() -> None:
    """By hand: at 8 h a margin, a note that could be past, two limits: a quarter each; at the reference no margin, and
    three that may be found or improve."""
    wishes = list(RULE.attributes.values())
    gates = {"thin": THIN, "dry": replace(DRY, until=12.0)}
    gating = Gating.of(readings((6, 5, 4, 4, 4, 4)), gates, np.array(HOURS))
    levels = Levels.of(0.05, wishes, 6, 0, gates=gating)
    assert levels.failing == pytest.approx([0.05 / 3, 0.05 / 4, 0.05 / 4, 0.05 / 4, 0.05 / 3, 0.05 / 2])
    assert levels.shared == pytest.approx(0.05 / 3)


def test_reading_on_is_told() -> None:
    """Two portions were sealed and three read; at a second opening four would be."""
    sealed = replace(RULE, gates={"thin": replace(THIN, repeats=2)})
    told = [
        warning.values for warning in decided((6, 5, 4.4, 3.5, 3.2, 3.0), sealed).warnings if warning.code == "read on"
    ]
    assert [(one["hours"], one["read"], one["sealed"]) for one in told] == [(hour, 3, 2) for hour in HOURS]
    again = decided((6, 5, 4.4, 3.5, 3.2, 3.0), replace(sealed, looks=2, look=2))
    assert "read on" not in {warning.code for warning in again.warnings}


# ---- several batches -------------------------------------------------------------------------------------------------
THINNING: Mapping[str, tuple[float, ...]] = {
    "A": (6, 5, 3.5, 3.3, 3.2, 3.0),
    "B": (6, 5, 4.5, 3.6, 3.3, 3.1),
    "C": (6, 5, 3.6, 3.4, 3.2, 3.0),
}


def several(claim: str, thinning: Mapping[str, tuple[float, ...]] = THINNING) -> Decision:
    """Batches alike in flavour, each with its own viscosities."""
    tasted = pd.concat([scores(READY_AT_8, batch) for batch in thinning])
    read = pd.concat([readings(own, batch=batch) for batch, own in thinning.items()])
    return decide(tasted, replace(RULE, claim=claim), read)  # type: ignore[arg-type]  # the two claims below


@pytest.mark.parametrize("claim", ["each of these batches", "recipe and machine"])
def test_a_limit_is_kept_in_every_batch(claim: str) -> None:
    """One batch that thins later decides for all, whatever is claimed of flavour."""
    found = several(claim)
    assert (found.verdict, found.hours, found.binding) == ("stop", 12, "thin")
    assert [(one.batch, one.shortest_hours) for one in found.gates] == [("A", 8), ("B", 12), ("C", 8)]


def test_a_batch_that_never_thins_is_no_answer_on_the_recipe() -> None:
    """In each of these batches no hour fits; of the recipe nothing is told."""
    thick = {**THINNING, "B": (8.0, 7.0, 6.0, 5.0, 5.0, 5.0)}
    assert several("each of these batches", thick).verdict == "no hour fits"
    assert several("recipe and machine", thick).verdict == "cannot tell"


def without(hours: float, batch: str, thinning: Mapping[str, tuple[float | None, ...]]) -> Decision:
    """A claim on the recipe after one batch lost a pull, noted before it was tasted."""
    tasted = pd.concat([scores(READY_AT_8, name) for name in thinning]).assign(why="")
    tasted = tasted[~((tasted["hours"] == hours) & (tasted["batch"] == batch))]
    note = pd.DataFrame([{"hours": hours, "batch": batch, "why": "lost", "reason": "spoilt"}])
    read = pd.concat([readings(own, batch=name) for name, own in thinning.items()])
    return decide(pd.concat([tasted, note], ignore_index=True), replace(RULE, claim="recipe and machine"), read)


def test_a_batch_that_lost_its_longest_pull_still_has_to_keep_the_limit() -> None:
    """It says nothing of flavour on average; that its mass never thins is known all the same."""
    four: dict[str, tuple[float | None, ...]] = {**THINNING, "D": (6, 5, 3.5, 3.3, 3.2, None)}
    kept = without(24.0, "D", four)
    assert (kept.verdict, kept.hours) == ("stop", 12)
    assert {one.batch for one in kept.gates} == set("ABCD")
    thick = without(24.0, "D", {**four, "D": (8.0, 7.0, 6.5, 6.0, 6.0, None)})
    assert (thick.verdict, thick.reason) == ("cannot tell", "limits of instruments")


def test_a_pull_lost_in_one_batch_holds_up_no_limit_there() -> None:
    """Not read in that batch, where it steps out; it is not chosen, and what is shorter still may be."""
    four: dict[str, tuple[float | None, ...]] = {**THINNING, "D": (6, 5, 3.5, 3.3, None, 3.0)}
    found = without(16.0, "D", four)
    assert (found.verdict, found.hours) == ("stop", 12)
    other = without(12.0, "D", {**THINNING, "D": (6, 5, 3.5, None, 3.2, 3.0)})
    assert (other.verdict, other.hours) == ("stop", 16)


def test_readings_must_name_one_of_several_batches() -> None:
    """Else nobody knows whose they are."""
    tasted = pd.concat([scores(READY_AT_8, batch) for batch in "AB"])
    with pytest.raises(ValueError, match="some readings do not name their batch"):
        decide(tasted, RULE, readings(THINNING["A"]))


def test_a_limit_bears_no_attribute_s_name() -> None:
    """A verdict names what decides."""
    with pytest.raises(ValueError, match="an attribute has this name"):
        decide(scores(READY_AT_8), Rule(RULE.attributes, gates={"note": THIN}))


def test_studies_judged_together_end_as_each_alone() -> None:
    """Drawn studies with missing scores and their own readings: verdict and pull as `judge` finds them one by one."""
    scenario = Scenario(HOURS, {"note": AttributeTruth(READY_AT_8)}, missing=0.15)
    truth = GateTruth((6, 5, 4.2, 3.9, 3.4, 3.0), 0.03, 3)
    y = draw(scenario, Design(8, 2), 1, 60, np.random.default_rng(3))["note"]
    gating = read_gates({"thin": truth}, {"thin": THIN}, np.array(HOURS), 60, 3)
    assert gating is not None
    found = look_at_cells({"note": cells_under(RULE, Scores(y))}, RULE, 0.05, 0, gating)
    alone = [
        judge({"note": cells_of(Scores(y[[at]]))}, RULE.attributes, 0.05, gating=gating.rows(np.array([at])))
        for at in range(60)
    ]
    assert found[0].tolist() == [int(one.verdict[0]) for one in alone]
    assert found[1].tolist() == [int(one.pull[0]) for one in alone]
    assert len(set(found[1].tolist())) > 2
