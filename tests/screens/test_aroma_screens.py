"""The screens of aroma studies on a real store, without a browser: plan, seal, watch, decide."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from studyapp.kinds.aroma import deciding, report, rule
from studyapp.kinds.aroma.plan import AromaPlan, Botanical, Control
from studyapp.services import closing, joining, planning, preparing, tasting, trying, watching
from tests.conftest import another_leader
from tests.kinds.aroma.aroma_kitchen import CHECKS
from tests.printing.paper_reading import flowing_pages

Screen = Callable[..., AppTest]
Said = Callable[[AppTest], str]
PLAN = AromaPlan(
    "Mint, 15 min",
    question="Is mint noticed after 15 min?",
    botanical=Botanical("Mentha spicata", "dried leaf", "Herb house", "L7"),
    batch="lot 3",
    process="hot air 55 °C, 20 g per kg, 15 min",
    contains="cocoa",
    safe_food_by="Cleo",
    sets_a_sitting=2,
    trials_each=2,
    sittings=1,
    rest_seconds=0,
    pd_limit=0.5,
)
HELD = "40 g per kg, 30 min"
CONTROL = Control("stronger", HELD, 9)


@pytest.fixture
def begun(workshop: Any) -> Callable[..., str]:
    """A function that keeps a plan for the five assessors and may seal it; returns the study's id."""

    def make(sealed: bool = True, **changes: Any) -> str:
        plan = replace(PLAN, assessors=workshop.plan.assessors, **changes)
        plan = replace(plan, sittings=rule.sittings_needed(plan))
        study = planning.new_study(workshop.store, workshop.leader, "aroma", plan.title)
        planning.keep_plan(workshop.store, workshop.leader, study, plan)
        if sealed:
            planning.seal(workshop.store, workshop.leader, study, plan.title)
        return study

    return make


@pytest.fixture
def tasted(workshop: Any) -> Callable[[str, int], None]:
    """A function that lets everybody taste a study of triangles; so many find the odd cup each time, the rest never,
    and everybody finds the control."""

    def taste(study: str, finders: int) -> None:
        store, leader, cook = workshop.store, workshop.leader, workshop.preparer
        known = next((box for box, words in preparing.boxes(store, cook, study).items() if HELD in words), "none")
        for sitting in preparing.sittings(store, leader, study):
            if sitting.state == "closed":
                continue
            boxes = {code: box for row in preparing.fill_rows(store, cook, sitting.id) for code, box in row.cups}
            for tray in preparing.trays(store, cook, sitting.id):
                checks = CHECKS
                preparing.release_tray(store, cook, sitting.id, tray.position, checks, "Cleo")
            watching.open_sitting(store, leader, sitting.id)
            for number, link in enumerate(joining.issue_links(store, leader, sitting.id)):
                _taste(store, link.code, boxes, number < finders, known)
            watching.close_sitting(store, leader, sitting.id, "")

    return taste


def _taste(store: Any, code: str, boxes: dict[str, str], finder: bool, known: str = "none") -> None:
    token = joining.join(store, code, "10.0.0.7", None)
    tasting.agree(store, token)
    here = tasting.place(store, token)
    while here.kind == "trial":
        counts = Counter(boxes[cup] for cup in here.cups)
        finds = finder or known in counts
        pick = next(cup for cup in here.cups if (counts[boxes[cup]] == 1) == finds)
        trying.keep_choice(store, token, here.trial or "", (pick,), not finds, secrets.token_hex(12))
        here = tasting.place(store, token)


def test_a_new_study_asks_which_question(screen: Screen, workshop: Any) -> None:
    app = screen("studies")
    app.radio(key="new-kind").set_value("aroma")
    app.text_input(key="new-name").set_value("Orange peel")
    next(each for each in app.button if each.label == "Plan a study").click().run()
    made = next(one for one in planning.studies(workshop.store, workshop.leader) if one.plan.title == "Orange peel")
    assert made.kind == "aroma"
    assert isinstance(made.plan, AromaPlan)


def test_the_plan_says_what_it_can_show_and_why_the_blank_must_match(
    screen: Screen, begun: Callable[..., str], said: Said
) -> None:
    app = screen("plan", study=begun(sealed=False, control=CONTROL))
    assert not app.exception
    text = said(app)
    assert "5 people, 2 trials each, can show that fewer than" in text
    assert "The marks, sealed with the rule" in text
    assert "Only a blank that had the same air and time shows the plant itself." in text
    assert "Your local code and a licensed specialist decide, not this tool." in text
    assert "Guards on, air drawn off, never alone." in text


def test_a_proposal_is_taken_over_with_one_tap(screen: Screen, begun: Callable[..., str], workshop: Any) -> None:
    study = begun(sealed=False, nameable=True, note="mint")
    app = screen("plan", study=study)
    next(each for each in app.button if each.label == "Use this test").click().run()
    assert not app.exception
    plan = planning.study(workshop.store, workshop.leader, study).plan
    assert (plan.method, plan.trials_each, plan.sets_a_sitting, plan.sittings) == ("three-alternative", 3, 2, 2)
    assert app.selectbox(key=f"method-named-{study}-1").value == "three-alternative"
    app.radio(key=f"nameable-{study}-1").set_value(False).run()
    assert not [name for name in app.selectbox(key=f"method-any-{study}-1").options if "has mo" in name]
    kept = planning.study(workshop.store, workshop.leader, study).plan
    assert (kept.nameable, kept.method) == (False, "triangle"), "a taste without a name is not asked for by name"


def test_the_calendar_stands_in_the_plan_and_below_its_seal(
    screen: Screen, begun: Callable[..., str], workshop: Any, said: Said
) -> None:
    """Infused on a Monday at eight, after the blank: pieces of the first sitting are moulded on Tuesday."""
    study = begun(sealed=False, starts_at="2026-11-23T08:00")
    app = screen("plan", study=study)
    assert not app.exception
    assert "blank: the same hot air, no plant" in said(app)
    app.number_input(key=f"batch-minutes-{study}-0").set_value(90).run()
    assert planning.study(workshop.store, workshop.leader, study).plan.batch_minutes == 90
    sealed = said(screen("plan", study=begun(starts_at="2026-11-23T08:00")))
    for told in ("Mon 23 Nov, 09:00", "temper and mould for tasting 1", "Take the calendar file (.ics)", "7 days old"):
        assert told in sealed


def test_an_aftertaste_comes_with_its_times_and_its_test(
    screen: Screen, begun: Callable[..., str], workshop: Any, said: Said
) -> None:
    """Asked for after a triangle: times proposed, the one test that can be asked, a rest that is too short."""
    study = begun(sealed=False, nameable=True, note="mint")
    app = screen("plan", study=study)
    app.radio(key=f"aim-{study}-0").set_value("aftertaste").run()
    plan = planning.study(workshop.store, workshop.leader, study).plan
    assert (plan.batches, plan.method, plan.longest_wait) == ((30, 60, 120), "two-alternative", 120)
    assert "Fix the rest: at least as long as the latest time, 120 seconds." in said(app)
    assert "Every piece is noticed once, at one of these times" in said(app)
    app.number_input(key=f"share-{study}-0").set_value(80.0).run()
    app.number_input(key=f"most-{study}-0").set_value(5.0).run()
    plan = planning.study(workshop.store, workshop.leader, study).plan
    assert (plan.share, plan.most_g_a_day) == (0.8, 5.0)
    assert "Fix the grams of a day: one sitting alone serves 18 g to each person." in said(app)
    assert not app.exception


def test_what_is_typed_is_kept_and_a_slip_is_named(
    screen: Screen, begun: Callable[..., str], workshop: Any, said: Said
) -> None:
    study = begun(sealed=False, aim="dose")
    app = screen("plan", study=study)
    app.text_input(key=f"doses-{study}-0").set_value("5, 10, 20, 40").run()
    assert planning.study(workshop.store, workshop.leader, study).plan.doses == (5.0, 10.0, 20.0, 40.0)
    app.text_input(key=f"doses-{study}-0").set_value("5, ten").run()
    assert "Fix the list: “ten” is not a number." in said(app)
    assert planning.study(workshop.store, workshop.leader, study).plan.doses == (5.0, 10.0, 20.0, 40.0)


def test_a_sealed_rule_is_there_to_read(screen: Screen, begun: Callable[..., str], said: Said) -> None:
    text = said(screen("plan", study=begun()))
    for words in ("Found from 7 right of 10.", "Mentha spicata, dried leaf", "Herb house, L7", "Rule, SHA-256"):
        assert words in text


def test_the_kitchen_sees_codes_and_only_the_preparer_the_key(
    screen: Screen, begun: Callable[..., str], said: Said
) -> None:
    study = begun()
    text = said(screen("prepare", "Ben", study=study))
    assert "cup 3" in text
    assert "put the cups down from left to right" in text
    assert "holds" not in said(screen("prepare", study=study))
    app = screen("prepare", "Ben", study=study)
    next(each for each in app.button if each.label == "Open the fill list").click().run()
    assert "How much to set aside" in said(app)


@pytest.mark.parametrize(
    ("finders", "headline"),
    [(5, "Detectable."), (2, "Cannot tell yet."), (0, "Cannot tell: fewer right than guessing would give.")],
)
def test_the_verdict_page_says_its_answer(
    screen: Screen, begun: Callable[..., str], tasted: Callable[[str, int], None], workshop: Any, said: Said,
    finders: int, headline: str,
) -> None:  # fmt: skip
    study = begun()
    tasted(study, finders)
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    app = screen("decide", study=study)
    assert not app.exception
    text = said(app)
    assert headline in text
    assert f"{2 * finders} of 10 answers are right" in text
    assert ("What an answer would cost" in text) == (headline == "Cannot tell yet.")
    assert "A taste result, not a clearance" in text


def test_a_count_that_may_stop_shows_its_lines_after_complete_rounds_only(
    screen: Screen, begun: Callable[..., str], tasted: Callable[[str, int], None], workshop: Any, said: Said
) -> None:
    study = begun(sequential=True, cap=20)
    text = said(screen("watch", study=study))
    assert "after the first complete round" in text
    assert "the count shows after complete rounds" in text
    assert "Scores stay hidden" not in text
    tasted(study, 5)
    app = screen("watch", study=study)
    assert "The round ended as detectable: open the key." in said(app)
    assert "Open the key" in [each.label for each in app.button]
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    app = screen("decide", study=study)
    assert not app.exception
    assert "Detectable." in said(app)


def _printed(workshop: Any, study: str) -> str:
    """The words of the report."""
    found = planning.study(workshop.store, workshop.leader, study)
    pdf = report.report(workshop.store, workshop.leader, found, "2026-11-30T17:00:00Z")
    return " ".join(" ".join(flowing_pages(pdf)).split())


def test_a_limit_that_so_few_people_cannot_show_is_said_alike_everywhere(
    screen: Screen, begun: Callable[..., str], tasted: Callable[[str, int], None], workshop: Any, said: Said
) -> None:
    """Five people cannot speak for others below 1 - .05^(1/5) = 45 %: plan, seal, verdict and report agree."""
    alike = "So few people cannot show the limit of 30 %"
    draft = said(screen("plan", study=begun(sealed=False, pd_limit=0.3, control=CONTROL)))
    assert alike in draft
    assert "answers as an identical pair gives show nothing below 45 %" in draft
    assert "none: too few people" in draft
    study = begun(pd_limit=0.3, control=CONTROL)
    sealed = said(screen("plan", study=study))
    assert alike in sealed
    assert "Fewer than 30 % of people like these" not in sealed
    tasted(study, 2)
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    verdict = said(screen("decide", study=study))
    for text in (verdict, _printed(workshop, study)):
        assert "Cannot tell yet." in text
        assert alike in text
        assert "close enough up to" not in text


def test_fewer_right_than_guessing_is_said_on_page_report_and_list(
    screen: Screen, begun: Callable[..., str], tasted: Callable[[str, int], None], workshop: Any, said: Said
) -> None:
    """0 of 15 triangles: (2/3)^15 = .002; the page says what to look for, and so does the list once it is signed."""
    study = begun(trials_each=3, sets_a_sitting=3)
    tasted(study, 0)
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    for text in (said(screen("decide", study=study)), _printed(workshop, study)):
        assert "Cannot tell: fewer right than guessing would give." in text
        assert "swapped codes" in text
        assert "Close enough." not in text
    for signer in (workshop.leader, another_leader(workshop.store, workshop.leader)):
        closing.sign(workshop.store, signer, study, "read it")
    assert "Cannot tell: fewer right than guessing would give." in said(screen("studies"))


def test_rounds_that_end_close_enough_show_every_answer(
    screen: Screen, begun: Callable[..., str], tasted: Callable[[str, int], None], workshop: Any, said: Said
) -> None:
    """Lines by hand, p0 1/3, p1 2/3, 5 and 10 %: n/2 - 1.624, so 0 of 5 ends round 1; round 2 was answered already."""
    study = begun(sequential=True, cap=10, control=replace(CONTROL, sets=12))
    assert "2 rounds, 10 answers" in said(screen("plan", study=study))
    tasted(study, 0)
    app = screen("watch", study=study)
    assert "close enough, if the control is found: serve the rest of its sets first." in said(app)
    assert "8 sets are still open." in said(screen("open_key", study=study))
    next(each for each in app.button if each.label == "Close the count, serve the 8 control sets left").click().run()
    tasted(study, 0)
    assert "The round ended as close enough: open the key." in said(screen("watch", study=study))
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    for text in (said(screen("decide", study=study)), _printed(workshop, study)):
        assert "Close enough for these assessors." in text
        assert "0 of 5 answers are right after 1 complete round" in text
        assert "12 of 12" in text
        assert " 5 more answers were given after that, 0 right: shown here, they judge nothing." in text
    document = deciding.document(workshop.store, workshop.leader, study)
    assert (document["standing"], document["trials"], document["answers_given"]) == ("same", 5, 10)


def test_a_person_who_stayed_away_keeps_it_from_being_close_enough(
    screen: Screen, begun: Callable[..., str], workshop: Any, said: Said
) -> None:
    """Two of five answer both rounds, none right; three who answered nothing are filled in as right twice each: 6 of
    10, more than half, on which the counts at the cap meet for p0 1/3 and p1 2/3."""
    study = begun(sequential=True, cap=10, sets_a_sitting=2)
    sitting = preparing.sittings(workshop.store, workshop.leader, study)[0]
    boxes = {code: row_box for row in preparing.fill_rows(workshop.store, workshop.preparer, sitting.id)
             for code, row_box in row.cups}  # fmt: skip
    for tray in preparing.trays(workshop.store, workshop.preparer, sitting.id):
        preparing.release_tray(workshop.store, workshop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(workshop.store, workshop.leader, sitting.id)
    for link in joining.issue_links(workshop.store, workshop.leader, sitting.id)[:2]:
        _taste(workshop.store, link.code, boxes, False)
    assert "after the first complete round" in said(screen("watch", study=study))
    watching.close_sitting(workshop.store, workshop.leader, sitting.id, "gone home")
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    for text in (said(screen("decide", study=study)), _printed(workshop, study)):
        assert "Cannot tell: those who stayed away may be those who noticed." in text
        assert "0 of 4 answers are right" in text


def test_answers_that_were_lost_stand_beside_the_sealed_marks(
    screen: Screen, begun: Callable[..., str], workshop: Any, said: Said
) -> None:
    """Sealed 10 answers, 8 given: the marks of both (published: 7 of 10 and 6 of 8 triangles, ISO 4120 Table A.1)."""
    study = begun()
    sitting = preparing.sittings(workshop.store, workshop.leader, study)[0]
    boxes = {code: row_box for row in preparing.fill_rows(workshop.store, workshop.preparer, sitting.id)
             for code, row_box in row.cups}  # fmt: skip
    for tray in preparing.trays(workshop.store, workshop.preparer, sitting.id):
        preparing.release_tray(workshop.store, workshop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(workshop.store, workshop.leader, sitting.id)
    for number, link in enumerate(joining.issue_links(workshop.store, workshop.leader, sitting.id)[:4]):
        _taste(workshop.store, link.code, boxes, number < 2)
    watching.close_sitting(workshop.store, workshop.leader, sitting.id, "gone home")
    before = said(screen("watch", study=study))
    assert "8 of 10 answers were given" in before
    closing.open_key(workshop.store, workshop.leader, study, "Ada")
    for text in (said(screen("decide", study=study)), _printed(workshop, study)):
        assert "for 10 answers: different from 7" in text
        assert "for the 8 given: different from 6" in text


def test_a_ladder_and_a_curve_have_their_pages(
    screen: Screen, begun: Callable[..., str], tasted: Callable[[str, int], None], workshop: Any, said: Said
) -> None:
    carried = begun(aim="carry over", batches=(1, 2), reference="plain 11", title="Carried", sets_a_sitting=4)
    dosed = begun(aim="dose", doses=(5.0, 10.0, 20.0, 40.0), title="Dosed", sets_a_sitting=6, trials_each=3)
    for study, words in ((carried, "batch by batch?"), (dosed, "From which dose on is it noticed?")):
        tasted(study, 3)
        closing.open_key(workshop.store, workshop.leader, study, "Ada")
        app = screen("decide", study=study)
        assert not app.exception
        assert words in said(app)
