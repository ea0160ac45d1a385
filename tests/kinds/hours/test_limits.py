"""Limits of instruments in a study of the store: planned, sealed, read, decided with flavour, before and after."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.batches import Draft, Reading
from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours.deciding import proposals
from studyapp.kinds.hours.deciding.readings import readings
from studyapp.kinds.hours.files.bringing import decide_files
from studyapp.kinds.hours.findings import hours_finding
from studyapp.kinds.hours.plan import HoursPlan, Limit, Pull, from_document
from studyapp.kinds.hours.rule.limits import limit_sentence
from studyapp.records import Attribute
from studyapp.services import batches, closing, planning
from studyapp.services import readings as kept_readings
from studyapp.services.planning import document_of
from tests.furnished import reached
from tests.kinds.hours.test_deciding import serve

THIN = Limit("Viscosity", "viscosity at 40 1/s", "Pa.s", at_most=4.0, instrument="viscometer", method="40 C, down")
PULLS = {0.0: 7.5, 8.0: 4.0, 16.0: 4.0, 24.0: 4.0}
THINNING = {0.0: 6.0, 8.0: 4.6, 16.0: 3.4, 24.0: 3.1}


@pytest.fixture
def plan() -> HoursPlan:
    """One look of one sitting; flavour is the same from 8 h on."""
    return HoursPlan(
        "Flavour and flow",
        question="From how many hours on?",
        pulls=tuple(Pull(hours) for hours in PULLS),
        attributes=(Attribute("Acidity", margin=2.0),),
        looks=1,
        sittings=1,
        rest_seconds=0,
        contains="cocoa",
        limits=(THIN,),
    )


def read(shop: Any, study: str, means: dict[float, float]) -> None:
    """Three portions of every pull, 2 % apart."""
    store, by = shop.store, shop.preparer
    known = batches.of_study(store, by, study)
    batch = known[0].id if known else batches.add(store, by, Draft(label="lot 14"), study)
    how = {"instrument": "viscometer", "method": "40 C, down"}
    for hour, mean in means.items():
        ones = [
            Reading(hour, THIN.quantity, mean * factor, portion=number, **how)
            for number, factor in enumerate((0.98, 1.0, 1.02), start=1)
        ]
        kept_readings.keep(store, by, batch, ones)


@pytest.fixture
def tasted(workshop: Any, hand: Any) -> Any:
    """The readings of every pull but the first, the sitting tasted, the key opened."""
    workshop.hand = lambda token: type(hand)(workshop.store, token)

    def taste() -> None:
        read(workshop, workshop.study, {hour: mean for hour, mean in THINNING.items() if hour})
        serve(workshop, workshop.sitting, 0.2, 1, PULLS)
        closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")

    reached(workshop.store, taste, "flavour and flow tasted")
    return workshop


def test_an_hour_is_chosen_where_flavour_and_flow_are_fine(tasted: Any) -> None:
    """By hand: flavour from 8 h on, 4.6 is above 4.0 at 8 h, 3.4 below at 16 h. What is read after the opening of the
    key does not count any more."""
    shop, study = tasted, tasted.study
    found = deciding.decision(shop.store, shop.leader, study)
    assert (found.verdict, found.hours, found.binding) == ("stop", 16, "Viscosity")
    assert [pull.why for pull in found.gates[0].pulls] == ["not read", None, None, None]
    read(shop, study, {0.0: 6.0})
    told = readings(shop.store, shop.leader, study)
    assert told is not None
    assert 0.0 not in set(told["hours"])
    assert "viscosity decides" in hours_finding(found).lede.casefold()


def test_the_same_verdict_comes_from_files(tasted: Any, tmp_path: Path) -> None:
    """Scores and readings of the store written to files, the sealed rule as RULE.toml: `decide` says the same."""
    shop, study = tasted, tasted.study
    scores, told = (ask(shop.store, shop.leader, study) for ask in (deciding.scores, readings))
    assert told is not None
    scores.drop(columns="batch").to_csv(tmp_path / "scores.csv", index=False)
    told.drop(columns=["batch", "shear_rate", "stress", "branch", "curve"]).to_csv(tmp_path / "read.csv", index=False)
    rule_lines = [
        f'looks = 1\ncontrol = 0\n[attributes.Acidity]\nwanted = "lower"\nmargin = {plan_margin(shop, study)}',
        f'[gates.{THIN.name}]\nquantity = "{THIN.quantity}"\nunit = "Pa.s"\nat_most = {THIN.at_most}',
        f'instrument = "{THIN.instrument}"\nmethod = "{THIN.method}"\nrepeats = {THIN.repeats}\n',
    ]
    (tmp_path / "RULE.toml").write_text("\n".join(rule_lines))
    here = deciding.decision(shop.store, shop.leader, study)
    there, _offers = decide_files(tmp_path / "scores.csv", tmp_path / "RULE.toml", readings=tmp_path / "read.csv")
    assert (there.verdict, there.hours, there.binding) == (here.verdict, here.hours, here.binding)
    assert [one.pulls for one in there.gates] == [one.pulls for one in here.gates]


def plan_margin(shop: Any, study: str) -> float:
    """The sealed margin of the one attribute."""
    return float(planning.study(shop.store, shop.leader, study).plan.attributes[0].margin)


def test_designs_of_a_plan_with_limits_are_compared(plan: HoursPlan) -> None:
    """Fewer pulls of the same truth, limits of instruments at these pulls too."""
    whole = replace(plan, assessors=tuple("abcdefgh"))
    fewer = replace(whole, pulls=(whole.pulls[0], whole.pulls[2], whole.pulls[3]))
    found = proposals.compare([whole, fewer], studies=200)
    assert [one.enough_hours for one in found] == [16.0, 16.0]
    assert min(one.chance for one in found) > 0.5


def test_a_plan_with_limits_comes_back_and_says_them(plan: HoursPlan) -> None:
    """Its document, its sentence in the rule, and what is to mend."""
    assert from_document(document_of(plan)) == plan
    assert rule.rule_of(plan, 1).gates["Viscosity"].log
    assert "Viscosity decides too: at most 4 Pa.s" in limit_sentence(THIN)
    assert any("until" in told or "longer pull" in told for told in map(str, rule.problems(plan)))

    def to_mend(**changes: Any) -> str:
        found = rule.problems(replace(plan, limits=(replace(THIN, **changes),)))
        return " ".join(problem.sentence for problem in found if problem.where == "limits" and problem.blocks)

    assert to_mend() == ""
    assert "needs one limit" in to_mend(at_most=None)
    assert "name instrument and method" in to_mend(method="")
    assert "ends at one of the pulls" in to_mend(until=9.0)
    assert "a single portion needs a spread" in to_mend(repeats=1)
    assert "stands there twice" in to_mend(name="Acidity")
    assert "viscosity and stress may rise again" in to_mend(monotone=True)
