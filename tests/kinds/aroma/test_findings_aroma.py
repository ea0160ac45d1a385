"""The page of an aroma verdict: its sentence, facts and zones, for results the statistics really give."""

from __future__ import annotations

import math
import random
import re
from dataclasses import dataclass, field
from typing import Any

import pytest
from scipy import stats

from analysis.choice import carry_over, forced_choice, sequential, threshold
from studyapp.kinds.aroma import deciding
from studyapp.kinds.aroma.deciding import SequentialStanding
from studyapp.kinds.aroma.findings import rounds, told, verdicts


@dataclass(frozen=True)
class Botanical:
    """What the findings read of a botanical."""

    name: str = "Mentha spicata"


@dataclass(frozen=True)
class Plan:
    """What the findings read of a plan."""

    aim: str = "detectable"
    batch: str = "lot 3"
    dose_unit: str = "min"
    nameable: bool = False
    botanical: Botanical = field(default_factory=Botanical)
    assessors: tuple[str, ...] = ("a",) * 6


def _triangle(right: int, trials: int = 36) -> forced_choice.ChoiceResult:
    return forced_choice.judge_totals("triangle", trials, right, 0.05, 0.3)


def test_the_zones_lie_at_the_marks_of_the_standard_tables() -> None:
    """36 triangles, 5 %: different from 18, close enough up to 13 at pd 30 % (ISO 4120:2004 annex A, recalled); up to
    6 are fewer than guessing gives: scipy's binomial tails are .0327 at 6 and .0818 at 7."""
    assert stats.binom.cdf(6, 36, 1 / 3) <= 0.05 < stats.binom.cdf(7, 36, 1 / 3)
    zones = verdicts.zones(_triangle(21))
    assert [(zone.kind, zone.low, zone.high) for zone in zones] == [
        ("fewer", 0, 6),
        ("close", 7, 13),
        ("open", 14, 17),
        ("detectable", 18, 36),
    ]
    assert [zone.name for zone in zones] == [
        "too few right",
        "close enough",
        "cannot tell, 14 to 17",
        "detectable",
    ]


def test_zones_cover_every_count_once_even_where_marks_cross_or_are_missing() -> None:
    crossing = forced_choice.judge_totals("triangle", 300, 120, 0.05, 0.5)
    none = forced_choice.judge_totals("triangle", 2, 1, 0.05, 0.3)
    for result in (crossing, none, _triangle(0)):
        covered = [count for zone in verdicts.zones(result) for count in range(zone.low, zone.high + 1)]
        assert covered == list(range(result.trials + 1))
    assert "both" in {zone.kind for zone in verdicts.zones(crossing)}
    assert {zone.kind for zone in verdicts.zones(none)} == {"open"}


@pytest.mark.parametrize(("right", "headline"), [(21, "Detectable."), (15, "Cannot tell yet."), (11, "Close enough.")])
def test_the_answer_comes_first(right: int, headline: str) -> None:
    found = verdicts.detectable_finding(Plan(), _triangle(right), 1.64, 54)
    assert found.headline == headline
    assert found.lede.startswith(f"{right} of 36 answers are right; guessing alone finds about 12.")
    assert len(found.facts) == 4
    assert found.facts[3].value == "this batch, lot 3"
    assert "Mentha spicata" in found.caution
    assert "your local code" in found.caution


def test_pictures_say_themselves_in_one_sentence() -> None:
    assert verdicts.ruler_says(_triangle(21)) == (
        "21 of 36 answers are right; close enough up to 13, different from 18; guessing alone finds about 12."
    )
    assert "at least 15 %, at most 58 %; limit 30 %" in verdicts.noticing_says(_triangle(21))


# ---- doses ---------------------------------------------------------------------------------------------------------
def _panel(half: float) -> threshold.ThresholdFit:
    """Eight invented people, five doses, four triangles each, half-way at `half` minutes."""
    chance = random.Random(2)
    who, doses, right = [], [], []
    for person in range(8):
        own = math.log(half) + chance.gauss(0, 0.2)
        for dose in (5, 10, 15, 20, 30):
            for _trial in range(4):
                notices = 1 / (1 + math.exp(-(math.log(dose) - own) / 0.2))
                who.append(f"a{person}")
                doses.append(dose)
                right.append(int(chance.random() < 1 / 3 + (2 / 3 - 0.01) * notices))
    return threshold.fit(threshold.dose_answers(who, doses, right), "triangle", 0.05)


def test_a_threshold_is_said_with_its_limits_and_its_unit() -> None:
    fitted = _panel(14.0)
    found = verdicts.dose_finding(Plan(aim="dose"), fitted, threshold.fit_test(fitted, panels=99))
    assert found.headline.startswith("Half notice it from ")
    assert found.headline.endswith(" min on.")
    assert found.facts[0].note.startswith("limits ")
    assert found.facts[2].value == "5, 10, 15, 20 and 30"
    assert "15 min: " in verdicts.curve_says(fitted, "min")


def test_nothing_is_said_outside_the_doses_tasted() -> None:
    fitted = _panel(400.0)
    found = verdicts.dose_finding(Plan(aim="dose", dose_unit="g"), fitted, threshold.fit_test(fitted, panels=99))
    assert found.headline == "Not found up to 30 g."
    assert found.facts[0].value == "outside the doses"


# ---- batches and days ----------------------------------------------------------------------------------------------
def _ladder(right: dict[int, int]) -> carry_over.Ladder:
    """Twelve people, four trials each a rung; so many of the 48 right."""
    rows = [(f"a{n % 12}", level, int(n < count)) for level, count in right.items() for n in range(48)]
    who, level, correct = zip(*rows, strict=True)
    return carry_over.ladder(who, level, correct, "three-alternative", 0.5, 0.05)


def test_a_ladder_tells_found_open_and_gone_apart() -> None:
    ladder = _ladder({1: 44, 2: 28, 3: 16})
    kinds = [verdicts.rung_kind(rung.batch, ladder) for rung in ladder.rungs]
    assert kinds == ["found", "found", "gone"]
    found = verdicts.ladder_of(Plan(aim="carry over"), ladder)
    assert found.headline == "Close enough from plain batch +3 on."
    assert [fact.value for fact in found.facts[:2]] == ["batch +3", "batch +2"]
    said = verdicts.ladder_says(ladder, "carry over")
    assert "batch +3: " in said
    assert said.endswith("Limit 50 %.")


def test_days_are_called_days() -> None:
    found = verdicts.ladder_of(Plan(aim="linger"), _ladder({1: 44, 7: 15}))
    assert found.headline == "Close enough after 7 days."
    assert found.lede.startswith("Still found after 1 day.")
    assert not any("plain batch" in text for text in (found.headline, found.lede, *found.changes))


# ---- early decisions -----------------------------------------------------------------------------------------------
def _stands(*right: int, missed: int = 0, later: tuple[int, int] = (0, 0)) -> SequentialStanding:
    """Rounds of six with so many right; `missed` answers of the last one are missing, `later` ones judge nothing."""
    sealed = sequential.plan("triangle", 0.05, 0.05, 0.5, 36, 6)
    answers: list[list[int | None]] = [[int(seat < count) for seat in range(6)] for count in right]
    for seat in range(missed):
        answers[-1][5 - seat] = None
    judged = sequential.judge(sealed, answers)
    return SequentialStanding(judged, len(right), judged.trials + later[0], judged.correct + later[1])


@pytest.mark.parametrize(
    ("right", "headline"),
    [
        ((5, 5), "Detectable."),
        ((2, 3), "Not decided yet: taste the next round."),
        ((2, 1), "Close enough for these assessors."),
        ((4, 3, 3, 3, 3, 2), "Close enough for these assessors."),
    ],
)
def test_a_plan_by_rounds_says_where_it_stands(right: tuple[int, ...], headline: str) -> None:
    """Marks by hand: n/2 -+ 2.124, so 9 or more and 3 or fewer of 12; after six rounds up to 18 is the same."""
    here = _stands(*right)
    found = rounds.sequential_finding(Plan(), here)
    assert found.headline == headline
    assert found.facts[0].value == f"{sum(right)} of {6 * len(right)}"
    assert found.facts[0].note == "cap 36"


@pytest.mark.parametrize(("aim", "named"), [("carry over", "+2"), ("linger", "2 days")])
def test_a_rung_with_fewer_right_than_guessing_is_named(aim: str, named: str) -> None:
    """24 three-alternatives, none right: (2/3)^24 = .00006; never close enough, and the causes stand beside it."""
    rows = [(f"a{n % 12}", batch, int(n < right)) for batch, right in ((1, 20), (2, 0)) for n in range(24)]
    names, batches, right = (list(column) for column in zip(*rows, strict=True))
    climbed = carry_over.ladder(names, batches, right, "three-alternative", 0.6)
    found = verdicts.ladder_of(Plan(aim=aim), climbed)
    assert f"Fewer right than guessing would give: {named}." in found.lede
    assert "swapped codes" in found.lede
    assert not found.headline.startswith("Close enough")
    assert verdicts.rung_kind(2, climbed) == "open"


def test_answers_behind_the_end_are_shown_and_said_to_judge_nothing() -> None:
    found = rounds.sequential_finding(Plan(), _stands(6, later=(4, 1)))
    assert "6 of 6 answers are right after 1 complete round" in found.lede
    assert "4 more answers were given after that, 1 right: shown here, they judge nothing." in found.lede
    told = {fact.label: fact.value for fact in found.numbers}
    assert (told["All answers given"], told["Ended after"]) == ("7 of 10", "round 1 of 6")


def test_those_who_stayed_away_are_named_as_the_reason() -> None:
    """6 of 15 with the three finders away in the last round, which makes 9 of 18 with (2 + 1) / (2 + 1) each."""
    judged = sequential.judge(
        sequential.plan("triangle", 0.05, 0.05, 0.5, 18, 6),
        [[0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1], [0, 0, 0, None, None, None]],
    )
    found = rounds.rounds_finding(judged)
    assert found.headline == "Cannot tell: those who stayed away may be those who noticed."
    assert "9 would be right" in found.lede
    assert any("3 answers are missing" in said for said in found.warnings)


def test_fewer_right_than_guessing_says_what_to_look_for() -> None:
    """0 of 36: whatever was asked, it is never close enough."""
    found = verdicts.detectable_finding(Plan(), _triangle(0), 1.64)
    assert found.headline == "Cannot tell: fewer right than guessing would give."
    assert "swapped codes" in found.lede
    assert "read the other way" in found.lede
    assert "lose enough." not in found.headline


def test_sealed_marks_stand_beside_those_of_the_answers_given() -> None:
    """Six people, six sets sealed and two lost: each its own marks and chances (binomial tails by scipy)."""
    sealed = forced_choice.judge_panel("triangle", (6,) * 6, (0,) * 6, 0.05, 0.5)
    given = forced_choice.judge_panel("triangle", (6, 6, 6, 6, 6, 4), (2,) * 6, 0.05, 0.5)
    by_name = {fact.label: fact for fact in verdicts.detectable_finding(Plan(), given, 1.64, None, sealed).facts}
    for label, trials in (("Marks, sealed before", 36), ("Marks that hold", 34)):
        mark = next(x for x in range(37) if stats.binom.sf(x - 1, trials, 1 / 3) <= 0.05)
        assert f"different from {mark}" in by_name[label].note
        found = round(100 * stats.binom.sf(mark - 1, trials, 2 / 3))
        assert f"50 % is found in {found} of 100" in by_name[label].note


def test_a_limit_under_what_so_few_people_can_show_is_not_offered() -> None:
    """Six people cannot speak for others below 1 - .05^(1/6) = 39 %; no sentence says a smaller share of them."""
    result = forced_choice.judge_panel("triangle", (6,) * 6, (2, 2, 1, 1, 1, 1), 0.05, 0.3)
    found = verdicts.detectable_finding(Plan(), result, 1.64, 30)
    assert result.verdict == "cannot tell"
    assert "So few people cannot show the limit of 30 % for people like them" in found.lede
    assert {zone.kind for zone in verdicts.zones(result)} == {"fewer", "open", "detectable"}
    texts = [found.lede, *(fact.note for fact in found.numbers), *(fact.value for fact in found.numbers)]
    for share in (int(each) for text in texts for each in re.findall(r"at most (\d+) %", text)):
        assert share >= 39


# ---- signed by an earlier version ----------------------------------------------------------------------------------
EARLIER = {
    # Two of six triangles right: walked seat by seat, this was once signed as the same after four answers.
    "rounds": {"standing": "same", "trials": 4, "correct": 0, "plan": {"slope": 0.5, "cap_same_at_most": 17}},
    # None of 36 right, which was close enough before fewer than guessing was asked about.
    "fixed": {"different": False, "p_value": 1.0, "minimum_correct": 18, "similarity": {"similar": True}},
}


@pytest.mark.parametrize(
    ("document", "line"),
    [(EARLIER["rounds"], "Close enough for these assessors."), (EARLIER["fixed"], "Close enough.")],
    ids=EARLIER,
)
def test_a_document_of_an_earlier_version_reads_as_it_was_signed(document: dict[str, Any], line: str) -> None:
    assert verdicts.kept_line(Plan(), document) == line


def test_a_page_keeps_the_headline_that_was_signed_and_says_what_today_would_read() -> None:
    here = _stands(2)
    finding = rounds.sequential_finding(Plan(), here)
    shown = told.as_signed(Plan(), finding, EARLIER["rounds"], deciding.verdict_document(here))
    assert shown.headline == "Close enough for these assessors."
    assert "Decided today it would read: Not decided yet" in shown.lede
    assert "2 of 6 answers are right" in shown.lede
    assert "the signed ones are in the record" in shown.warnings[0]
    same = deciding.verdict_document(here)
    assert told.as_signed(Plan(), finding, same, same) == finding


# ---- the price -----------------------------------------------------------------------------------------------------
def test_a_way_names_what_it_asks_and_promises_no_more_than_nine_in_ten() -> None:
    assert verdicts.way_row("twelve people", 6, 81.0, (0.97, 0.62, 0.04)) == verdicts.WayRow(
        "twelve people", "6 answers, 81 g", ("9 of 10", "6 of 10", "fewer than 1 of 10")
    )


@pytest.mark.parametrize(
    ("document", "line"),
    [
        ({}, ""),
        ({"different": True, "similarity": {"similar": False}}, "Detectable."),
        ({"different": False, "similarity": {"similar": True}}, "Close enough."),
        ({"different": False, "similarity": {"similar": False}}, "Cannot tell."),
        ({"threshold": {"estimate": 14.2}}, "Half notice it from 14.2 min on."),
        (
            {"threshold": {"estimate": None}, "reason": "fewer right than guessing"},
            "Cannot tell: fewer right than guessing would give.",
        ),
        ({"threshold": {"estimate": None}}, "Half-way point outside the doses tasted."),
        ({"rungs": [], "clean_from_all_tasted": 2}, "Close enough from batch +2 on."),
        ({"rungs": [], "clean_from_all_tasted": None}, "Not shown to be gone."),
        ({"standing": "same"}, "Close enough for these assessors."),
    ],
)
def test_a_signed_verdict_is_one_line(document: dict[str, object], line: str) -> None:
    assert verdicts.kept_line(Plan(aim="carry over"), document) == line
