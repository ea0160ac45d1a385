"""From a draft to a seal: what is sealed stands, and what is served follows from it."""

from __future__ import annotations

import dataclasses
import json
import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from analysis.stopping import RULE_VERSION
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.kinds.hours import rule, setting_out
from studyapp.kinds.hours.deciding import scenarios
from studyapp.kinds.hours.plan import Habits, HoursPlan, Pull, from_document
from studyapp.kinds.hours.rule import problems
from studyapp.records import Attribute
from studyapp.services import panel, planning, preparing, table
from studyapp.store import checks, events, pulls, studies

# The plan of a draft as an earlier version wrote it: a planned time at each pull, no hour zero, no habits.
KEPT_BEFORE = """{"title": "Second", "question": "When?", "recipe": "", "batch": "", "machine": "", "hour_zero": "",
"pulls": [{"hours": 4.0, "planned_at": "2026-11-23T12:00", "mass_g": 250.0},
{"hours": 12.0, "planned_at": "2026-11-23T20:00", "mass_g": 250.0}],
"attributes": [{"name": "Acidity", "definition": "", "low_word": "none", "high_word": "very strong", "decides": true,
"wanted": "lower", "margin": 1.0, "limit": null}], "control": 4.0, "alpha": 0.05, "looks": 2, "sittings": 2,
"next_sittings": 1, "replicates": 1, "assessors": [], "piece_g": 4.5, "rest_seconds": 240, "warm_up": true,
"swallow": "spit", "routine": "Sip.", "contains": "cocoa", "traces": "", "lateness_minutes": 10, "palate": 6,
"load_g": 40000.0}"""


@pytest.fixture
def draft(workshop: Any) -> str:
    """A second study in the workshop, not sealed."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Second")
    planning.keep_plan(
        workshop.store, workshop.leader, id_, replace(workshop.plan, title="Second", looks=2, sittings=2)
    )
    return id_


def test_a_draft_is_kept_finished_or_not(workshop: Any) -> None:
    """A plan with problems can be put down and taken up again."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Half an idea")
    plan = HoursPlan("Half an idea", pulls=(Pull(8.0),))
    planning.keep_plan(workshop.store, workshop.leader, id_, plan)
    assert planning.study(workshop.store, workshop.leader, id_).plan == plan
    assert planning.study(workshop.store, workshop.leader, id_).state == "draft"


@pytest.mark.parametrize("letters", [1, 113, 114, 118, 120])
def test_a_copy_can_be_kept_whatever_the_name(workshop: Any, letters: int) -> None:
    """A study's name has at most 120 letters; the copy of a long one, and its own copy, stay within that."""
    title = ("Batch nine of the long hall " * 5)[: letters - 1] + "x"
    first = planning.new_study(workshop.store, workshop.leader, "hours", title)
    for _round in range(2):
        first = planning.copy(workshop.store, workshop.leader, first)
        plan = planning.study(workshop.store, workshop.leader, first).plan
        planning.keep_plan(workshop.store, workshop.leader, first, replace(plan, question="Long enough?"))
        assert planning.study(workshop.store, workshop.leader, first).plan.question == "Long enough?"
        assert plan.title.endswith(", again")
        assert plan.title != title


@pytest.mark.parametrize(
    ("hours", "control", "where", "never"),
    [
        ((0.0, 24.0), None, "pulls", True),
        ((0.0, 24.0), 0.0, "pulls", True),
        ((0.0, 8.0, 24.0), 8.0, "control", False),
        ((0.0, 8.0, 24.0), None, None, False),
    ],
)
def test_a_plan_with_nothing_in_question_is_told_what_it_cannot_answer(
    workshop: Any, hours: tuple[float, ...], control: float | None, where: str | None, never: bool
) -> None:
    """The control must be found worse, so alone beside the reference it can hardly be a stop; two pulls never show
    that conching longer pays."""
    found = problems(replace(workshop.plan, pulls=tuple(map(Pull, hours)), control=control))
    said = [problem for problem in found if "nothing lies between" in problem.sentence]
    assert [problem.where for problem in said] == ([where] if where else [])
    assert all(not problem.blocks and ("conching longer" in problem.sentence) == never for problem in said)


def test_a_plan_with_nothing_in_question_names_no_hour_as_enough() -> None:
    """Whatever is taken to be enough lies beyond the control, which is known to differ."""
    assert scenarios.enough_pull((0.0, 8.0, 24.0)) == 8.0
    assert scenarios.enough_pull((0.0, 4.0, 8.0, 12.0, 16.0, 24.0), 12.0) == 16.0
    assert scenarios.enough_pull((0.0, 24.0)) == 24.0


def test_a_study_comes_first_when_it_is_the_newest(workshop: Any, draft: str) -> None:
    """The list shows every study once."""
    assert {study.id for study in planning.studies(workshop.store, workshop.leader)} == {draft, workshop.study}


def test_what_is_unfinished_cannot_be_sealed(workshop: Any) -> None:
    """The first thing to mend is named."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Half an idea")
    with pytest.raises(BadInput, match=r"^Not sealed: Fix the question"):
        planning.seal(workshop.store, workshop.leader, id_, "Half an idea")


def test_the_title_must_be_typed_as_it_stands(workshop: Any, draft: str) -> None:
    """A seal is no accident."""
    with pytest.raises(BadInput, match="Second"):
        planning.seal(workshop.store, workshop.leader, draft, "second")
    assert planning.study(workshop.store, workshop.leader, draft).seal is None


def test_a_sealed_rule_cannot_be_changed_or_sealed_again(workshop: Any, draft: str) -> None:
    """Not through the app, and not by SQL either."""
    planning.seal(workshop.store, workshop.leader, draft, "Second")
    with pytest.raises(NotAllowed, match="Note a departure"):
        planning.keep_plan(workshop.store, workshop.leader, draft, replace(workshop.plan, title="Second", alpha=0.2))
    with pytest.raises(NotAllowed, match="sealed on"):
        planning.seal(workshop.store, workshop.leader, draft, "Second")


def test_the_slip_carries_the_seal_and_the_head(workshop: Any, draft: str) -> None:
    """What is printed lets anybody check later that nothing moved."""
    slip = planning.seal(workshop.store, workshop.leader, draft, "Second")
    study = planning.study(workshop.store, workshop.leader, draft)
    assert (study.seal, study.sealed_at, study.sealed_by) == (slip.seal, slip.at, "Ada")
    assert slip.seal == planning.seal_of(study.plan, rule_version=RULE_VERSION)
    assert len(slip.head) == 64
    assert any("at most 5 of 100" in sentence for sentence in slip.sentences)


def test_a_struck_assessor_stops_the_seal(workshop: Any, draft: str) -> None:
    """Who may not taste is not given a seat."""
    heron = next(a for a in panel.assessors(workshop.store, workshop.leader) if a.pseudonym == "Heron")
    panel.set_may_taste(workshop.store, workshop.leader, heron.id, False)
    with pytest.raises(BadInput, match="Heron"):
        planning.seal(workshop.store, workshop.leader, draft, "Second")


def test_every_assessor_gets_every_pull_and_no_code_twice(workshop: Any, draft: str) -> None:
    """Two sittings: codes unique on the table, new each time; the warm-up is the same pull for all."""
    planning.seal(workshop.store, workshop.leader, draft, "Second")
    mine: dict[str, list[str]] = {}
    warm = set()
    for sitting in preparing.sittings(workshop.store, workshop.preparer, draft):
        cups = preparing.trays(workshop.store, workshop.preparer, sitting.id)
        rows = preparing.fill_rows(workshop.store, workshop.preparer, sitting.id)
        pulls = preparing.levels_by_code(workshop.store, workshop.preparer, sitting.id)
        assert len(rows) == len(pulls) == 5 * 4
        for tray in cups:
            for cup in tray.cups:
                mine.setdefault(cup.pseudonym, []).append(cup.code)
        warm |= {pulls[row.cups[0][0]] for row in rows if row.position == 0}
        served = Counter((row.seat, pulls[row.cups[0][0]]) for row in rows if row.position > 0)
        assert served == Counter({(seat, h): 1 for seat in range(1, 6) for h in (17.25, 33.75, 61.5)})
    assert len(warm) == 1
    assert all(len(codes) == len(set(codes)) == 8 for codes in mine.values())
    assert all(100 <= int(code) <= 999 for codes in mine.values() for code in codes)


def test_a_box_letter_tells_no_hour(workshop: Any) -> None:
    """Letters are dealt at random: over twelve seals of three pulls the shortest is not always A (1 in 531441)."""
    letters = set()
    for number in range(12):
        id_ = planning.new_study(workshop.store, workshop.leader, "hours", f"Study {number}")
        plan = replace(workshop.plan, title=f"Study {number}")
        planning.keep_plan(workshop.store, workshop.leader, id_, plan)
        planning.seal(workshop.store, workshop.leader, id_, plan.title)
        letters |= {
            q.letter for q in preparing.quantities(workshop.store, workshop.preparer, id_) if q.holds == "17.25 h"
        }
    assert len(letters) > 1


@given(st.integers(1, 60), st.integers(1, 14), st.integers(0, 4), st.integers(0, 2**40))
@settings(max_examples=60, deadline=None)
def test_codes_are_dealt_without_repeats(assessors: int, each: int, before: int, seed: int) -> None:
    """Unique on the table, and for each assessor over the study, also when 900 codes no longer suffice for all."""
    used: list[set[str]] = [set() for _ in range(assessors)]
    assume(assessors * each <= 900 and each * (before + 1) <= 300)
    for sitting in range(before + 1):
        dealt = table.deal_codes(used, each, seed + sitting)
        flat = [code for own in dealt for code in own]
        assert len(flat) == len(set(flat)) == assessors * each
        for seat, own in enumerate(dealt):
            assert not used[seat] & set(own)
            used[seat] |= set(own)


def test_more_cups_than_codes_are_refused() -> None:
    """A sentence, not a crash."""
    with pytest.raises(BadInput, match="run out"):
        table.deal_codes([set() for _ in range(100)], 10, 1)


def test_a_copy_is_a_draft_of_its_own(workshop: Any) -> None:
    """A new study takes over the plan, not the seal."""
    id_ = planning.copy(workshop.store, workshop.leader, workshop.study)
    copy = planning.study(workshop.store, workshop.leader, id_)
    assert (copy.state, copy.seal) == ("draft", None)
    assert replace(copy.plan, title=workshop.plan.title) == workshop.plan


def test_a_copy_keeps_how_the_workshop_works_and_not_the_day(workshop: Any, draft: str) -> None:
    """Hours and rest are the workshop's; a run that is over has no place in the plan of another."""
    habits = Habits(opens="06:30", days=(1, 2, 3, 4, 5), rest_days=14)
    plan = replace(workshop.plan, title="Second", habits=habits, starts_at="2026-11-23T08:00", load_g=40_000.0)
    planning.keep_plan(workshop.store, workshop.leader, draft, plan)
    copy = planning.study(workshop.store, workshop.leader, planning.copy(workshop.store, workshop.leader, draft)).plan
    assert copy == replace(plan, title="Second, again", starts_at=None)


def test_a_new_study_begins_with_the_habits_of_the_newest(workshop: Any, draft: str) -> None:
    """Said once, not for every study; of an invented one nothing is taken over."""
    habits = Habits(closes="22:00")
    plan = replace(workshop.plan, title="Second", habits=habits, load_g=40_000.0)
    planning.keep_plan(workshop.store, workshop.leader, draft, plan)
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE study SET created_at = '2099-01-01T00:00:00Z' WHERE id = ?", (draft,))
    third = planning.new_study(workshop.store, workshop.leader, "hours", "Third")
    assert planning.study(workshop.store, workshop.leader, third).plan == HoursPlan("Third", habits=habits)
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE study SET example = true WHERE id IN (?, ?)", (draft, third))
    fourth = planning.new_study(workshop.store, workshop.leader, "hours", "Fourth")
    assert planning.study(workshop.store, workshop.leader, fourth).plan == HoursPlan("Fourth")


def test_a_draft_kept_before_there_were_habits_still_opens(workshop: Any, draft: str) -> None:
    """As it stood in a store when each pull carried its time: hour zero is read from the first that has one, the
    workshop works as usual, and the draft can be kept again."""
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE study SET plan = ? WHERE id = ?", (KEPT_BEFORE, draft))
    old = planning.study(workshop.store, workshop.leader, draft).plan
    assert old.pulls == (Pull(4.0, 250.0), Pull(12.0, 250.0))
    assert (old.starts_at, old.habits, old.load_g) == ("2026-11-23T08:00", Habits(), 40000.0)
    later = replace(old, title="Second", habits=Habits(rest_days=10), starts_at=None)
    planning.keep_plan(workshop.store, workshop.leader, draft, later)
    assert planning.study(workshop.store, workshop.leader, draft).plan == later


def test_a_seal_of_before_still_holds(workshop: Any, draft: str) -> None:
    """What is sealed is the text that was kept then, not what is read from it today."""
    seal = events.digest(json.loads(KEPT_BEFORE))
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE study SET plan = ? WHERE id = ?", (KEPT_BEFORE, draft))
        event = events.append(tx, "sealed", {"seal": seal, "by": workshop.leader.id}, draft)
        studies.seal(tx, draft, json.loads(KEPT_BEFORE), seal, event.at, workshop.leader.id, "00")
    with workshop.store.read() as tx:
        assert checks.seal_faults(tx, checks.chain(tx)) == []
    assert planning.study(workshop.store, workshop.leader, draft).plan.starts_at == "2026-11-23T08:00"


def test_a_pull_is_noted_with_its_true_time(workshop: Any) -> None:
    """Only planned pulls, only real times, only positive grams."""
    setting_out.note_pull(workshop.store, workshop.preparer, workshop.study, 33.75, "2026-11-24 10:41", 3900.0)
    with workshop.store.read() as tx:
        (note,) = pulls.of_study(tx, workshop.study)
    assert (note.kind, note.hours, note.actual_at, note.mass_g) == ("taken", 33.75, "2026-11-24 10:41", 3900.0)
    for hours, at, mass in ((9.0, "2026-11-24 10:41", 10.0), (33.75, "noon", 10.0), (33.75, "2026-11-24 10:41", -1.0)):
        with pytest.raises(BadInput, match=r"^Fix the"):
            setting_out.note_pull(workshop.store, workshop.preparer, workshop.study, hours, at, mass)


def test_the_rule_follows_the_plan_and_the_look() -> None:
    """From the second sitting on, disagreement between sittings counts (a sealed choice)."""
    plan = HoursPlan(
        "x", pulls=(Pull(0), Pull(8), Pull(24)), attributes=(Attribute("A"), Attribute("B", decides=False))
    )
    first = rule.rule_of(replace(plan, sittings=1, next_sittings=1, looks=3), 1)
    assert (first.adjust, first.look, first.looks, list(first.attributes)) == ((), 1, 3, ["A"])
    assert rule.rule_of(replace(plan, sittings=1, looks=3), 2).adjust == ("sitting:hours",)
    assert rule.rule_of(replace(plan, sittings=2), 1).adjust == ("sitting:hours",)


def test_nobody_reads_a_study_without_signing_in(workshop: Any) -> None:
    """The recipe is nobody's business outside."""
    with pytest.raises(NotAllowed, match="sign in"):
        planning.study(workshop.store, None, workshop.study)
    with pytest.raises(NotFound):
        planning.study(workshop.store, workshop.leader, "no such study")


# ---- R23: one plan, one seal ---------------------------------------------------------------------------------------
hours = st.one_of(st.integers(0, 96), st.floats(0, 96).map(lambda h: round(h, 2)))
words = st.text(max_size=12)


@st.composite
def plans(draw: Any) -> HoursPlan:
    """Plans of any content."""
    lines = draw(st.lists(st.builds(Attribute, name=words, definition=words, margin=st.floats(0.1, 3)), max_size=3))
    return HoursPlan(
        title=draw(words),
        question=draw(words),
        pulls=tuple(Pull(h) for h in draw(st.lists(hours, max_size=6))),
        attributes=tuple(lines),
        alpha=draw(st.floats(0.001, 0.2)),
        assessors=tuple(draw(st.lists(words, max_size=4))),
    )


def as_floats(value: Any) -> Any:
    """The same plan with every whole number written as a float."""
    if isinstance(value, dict):
        return {key: as_floats(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_floats(item) for item in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def shuffled(value: Any, rng: random.Random) -> Any:
    """The same plan with its keys in another order."""
    if isinstance(value, dict):
        keys = list(value)
        rng.shuffle(keys)
        return {key: shuffled(value[key], rng) for key in keys}
    return [shuffled(item, rng) for item in value] if isinstance(value, list) else value


@given(plans(), st.randoms())
@settings(max_examples=700, deadline=None)
@pytest.mark.reliability
def test_one_plan_has_one_seal(plan: HoursPlan, rng: random.Random) -> None:
    """Shuffled keys, 24 or 24.0, through the store's JSON and back: one hash."""
    document = json.loads(json.dumps(dataclasses.asdict(plan)))
    seal = planning.seal_of(plan)
    assert planning.seal_of(from_document(shuffled(document, rng))) == seal
    assert planning.seal_of(from_document(json.loads(json.dumps(as_floats(document))))) == seal


@given(plans())
@settings(max_examples=200, deadline=None)
def test_another_margin_is_another_seal(plan: HoursPlan) -> None:
    """Any change of the rule shows."""
    assert planning.seal_of(replace(plan, alpha=plan.alpha / 2)) != planning.seal_of(plan)
    assert planning.seal_of(replace(plan, title=plan.title + " ")) != planning.seal_of(plan)
