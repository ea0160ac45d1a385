"""A comparison through the services: what is sealed, served, decided, signed and printed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from analysis.comparing.confounders import Likeness
from demo_panels import makes
from studyapp import registry
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.kinds.comparison import deciding, findings, rule
from studyapp.kinds.comparison.deciding import choices, prospects
from studyapp.kinds.comparison.files.bringing import compare_files
from studyapp.kinds.comparison.findings import careful, comparison_finding, differing, planned
from studyapp.kinds.comparison.findings.careful import codes, told_warning
from studyapp.kinds.comparison.pictures import against, needed
from studyapp.kinds.comparison.plan import ComparisonPlan, Likewise, from_document
from studyapp.kinds.comparison.report import calendar
from studyapp.pictures.theme import PAPER
from studyapp.printing.papers import paper
from studyapp.records import Attribute
from studyapp.services import closing, planning, preparing
from studyapp.services.checking import check
from tests.printing.paper_reading import flowing

PLAN = ComparisonPlan(
    "Which mill",
    question="Is the old mill as good?",
    makes=("new mill", "old mill"),
    control="new mill, two hours",
    attributes=(Attribute("Acidity"), Attribute("Cocoa", wanted="higher")),
    claims={"Acidity": "no worse", "Cocoa": "same"},
    alike=(Likewise("fat", "%", 0.5, ((30.0, 30.2), (30.1, 30.0))),),
    assessors=tuple("abcdefgh"),
    contains="cocoa, cane sugar",
)


# ---- the plan --------------------------------------------------------------------------------------------------------
def test_a_plan_comes_back_from_its_document() -> None:
    """As it was, its numbers whole or not."""
    assert from_document(planning.document_of(PLAN)) == PLAN
    again = registry.plan("comparison").again(PLAN)
    assert again.alike == (Likewise("fat", "%", 0.5),)  # type: ignore[attr-defined]
    assert registry.plan("comparison").new("Next", PLAN).alike == again.alike  # type: ignore[attr-defined]


WRONG: tuple[tuple[dict[str, Any], str, str], ...] = (
    ({"makes": ("new mill", "New mill ")}, "makes", "no two alike"),
    ({"control": " "}, "control", "name a piece that everybody should tell"),
    ({"attributes": ()}, "attributes", "at least one must decide"),
    ({"attributes": (Attribute("Acidity", margin=0.0),)}, "attributes", "margin"),
    ({"attributes": (Attribute("Acidity", wanted="same"),)}, "attributes", "only “the same” can be claimed"),
    ({"alike": (Likewise("fat", tolerance=-1.0),)}, "alike", "tolerance must not be below 0"),
    ({"alike": (Likewise("Acidity", at_most=2.0),)}, "alike", "an attribute has this name"),
    ({"alike": (Likewise("yield value", at_most=2.0),)}, "alike", "use stress or viscosity"),
    ({"attributes": (Attribute("Acidity", limit=11.0),)}, "attributes", "the limit lies on the scale"),
    ({"assessors": tuple("abcd")}, "assessors", "at least five"),
    ({"replicates": 3}, "replicates", "9 pieces are more than the 6"),
    ({"scope": "make"}, "batches", "3 of each or more"),
    ({"scope": "make", "batches": 3, "sittings": 4}, "sittings", "plan 3 or a multiple"),
    ({"scope": "make", "batches": 3, "sittings": 3, "looks": 2}, "looks", "opened once"),
    ({"batches": 2}, "batches", "taste one of each"),
    ({"faster": "Sweetness", "short_hours": 8.0, "long_hours": 16.0}, "faster", "choose a deciding attribute"),
    ({"faster": "Acidity", "short_hours": 16.0, "long_hours": 8.0}, "faster", "shorter than the long one"),
    ({"pulls": ((8.0, 4.0), (4.0, 8.0)), "palate": 9}, "pulls", "the shortest first"),
    ({"pulls": ((4.0, 8.0), (4.0,)), "palate": 9}, "pulls", "Fix the hours of B"),
    ({"pulls": ((4.0, 8.0), (4.0, 8.0)), "faster": "Acidity"}, "pulls", "of two makes, one batch of each"),
    ({"pulls": ((4.0, 8.0), (4.0, 8.0)), "claims": {"Acidity": "better"}}, "pulls", "“better” cannot be asked"),
    ({"pulls": ((4.0, 8.0, 16.0, 24.0), (4.0, 8.0, 24.0))}, "replicates", "7 pieces are more than the 6"),
    ({"contains": ""}, "contains", "every ingredient"),
    ({"sittings": 13}, "sittings", "between 1 and 12"),
)


@pytest.mark.parametrize(("change", "where", "sentence"), WRONG)
def test_what_keeps_a_plan_from_its_seal(change: dict[str, Any], where: str, sentence: str) -> None:
    """Beside its field; the plan without the change has nothing that blocks."""
    assert [one for one in rule.problems(PLAN) if one.blocks] == []
    found = [one for one in rule.problems(replace(PLAN, **change)) if one.blocks and one.where == where]
    assert any(sentence in one.sentence for one in found)


def test_nothing_read_beside_the_taste_is_said_and_blocks_nothing() -> None:
    """Confounders never block."""
    (found,) = (one for one in rule.problems(replace(PLAN, alike=())) if one.where == "alike")
    assert not found.blocks


def test_the_rule_says_what_a_verdict_will_be_about() -> None:
    """Before the seal: the batches alone, or the make, or the pair of hours."""
    told = " ".join(rule.sentences(PLAN))
    assert "Batch and way of making cannot be told apart" in told
    assert "Cocoa decides: more is wanted; claimed is the same as A within 1.0 units." in told
    over = replace(PLAN, scope="make", batches=3, sittings=3)
    assert "The claim is on the ways of making, over 3 batches of each." in " ".join(rule.sentences(over))
    pair = " ".join(rule.sentences(replace(PLAN, faster="Acidity", short_hours=8.0, long_hours=16.0)))
    assert "Less time is claimed if B after 8 h passes against A after 16 h" in pair
    assert "The control is known to differ: new mill, after 8 h." in pair
    every = " ".join(rule.sentences(replace(PLAN, pulls=((4.0, 8.0, 24.0), (4.0, 16.0)), control="")))
    assert "A is tasted after 4, 8, 24 h. B is tasted after 4, 16 h." in every
    assert "All of these are held against A after 24 h, the one common reference." in every
    assert "The control is known to differ: new mill, after 4 h." in every


# ---- from the seal to the verdict ------------------------------------------------------------------------------------
def test_every_piece_is_served_to_all_at_balanced_places(finished: Callable[[str], Any]) -> None:
    """Each sitting holds the control and one batch of each make, as often for everybody."""
    made = finished("short_programme")
    plan = planning.study(made.store, made.leader, made.study).plan
    boxes = preparing.boxes(made.store, made.preparer, made.study)
    assert len(boxes) == 7
    assert sum("batch 2" in words for words in boxes.values()) == 2
    for sitting in preparing.sittings(made.store, made.leader, made.study):
        served = Counter(preparing.levels_by_code(made.store, made.preparer, sitting.id).values())
        batch = (sitting.number - 1) % 3 + 1
        assert set(served) == {0.0, 10.0 + batch, 20.0 + batch}
        assert set(served.values()) == {len(plan.assessors) * plan.replicates}


@pytest.mark.parametrize("name", makes.comparisons())
def test_the_store_decides_as_the_file_does(name: str, finished: Callable[[str], Any]) -> None:
    """The same scores, under codes and by rows: the same chances; and the record behind it is sound."""
    made = finished(name)
    found = deciding.compared(made.store, made.leader, made.study)
    read = makes.FOLDER / name / "readings.csv"
    brought = compare_files(
        makes.FOLDER / name / "scores.csv", makes.FOLDER / name / "RULE.toml", 20, read if read.exists() else None
    )
    assert found.reason is brought.found.reason is None
    for own, other in zip(found.makes.values(), brought.found.makes.values(), strict=True):
        assert own.verdict == other.verdict
        assert own.p_holm == pytest.approx(other.p_holm, rel=1e-9)
    assert [one.gates for one in found.makes.values()] == [one.gates for one in brought.found.makes.values()]
    likes = [[one.answer for one in every.values()] for every in deciding.alike_of(_plan(made)).values()]
    assert likes[: len(brought.alike)] == [[one.answer for one in every.values()] for every in brought.alike.values()]
    assert check(made.store.url).sound


def _plan(made: Any) -> ComparisonPlan:
    return planning.study(made.store, made.leader, made.study).plan  # type: ignore[no-any-return]


@pytest.mark.parametrize("name", makes.comparisons())
def test_an_invented_comparison_shows_what_it_is_there_for(name: str) -> None:
    """Verdicts as panel.toml says, and the truth that the scores were drawn from allows each."""
    brought = compare_files(makes.FOLDER / name / "scores.csv", makes.FOLDER / name / "RULE.toml", 20).found
    expected, truth = makes.settings(name)["expected"], makes.settings(name, "truth.toml")["attributes"]
    assert [one.verdict for one in brought.makes.values()] == [expected[make] for make in "BCD" if make in expected]
    assert (brought.faster is not None and all(brought.faster.shown.values())) == expected.get("faster", False)
    assert (brought.bracket.over if brought.bracket else None) == expected.get("over")
    for make, one in brought.makes.items():
        place = makes.pieces(name).index(make) if make in makes.pieces(name) else 2
        away = {
            line: brought.claims[line].wish.sign * (own["mean"][place] - own["mean"][1]) / brought.claims[line].margin
            for line, own in truth.items()
        }
        assert (max(away.values()) >= 1) == (one.verdict == "not good enough")


def test_every_outcome_has_an_invented_comparison() -> None:
    """The three verdicts, a claim on the make, less time, and hours that one make needs longer."""
    expected = [makes.settings(name)["expected"] for name in makes.comparisons()]
    assert {one[make] for one in expected for make in "BC" if make in one} == {
        "shown",
        "not good enough",
        "cannot tell",
    }
    assert any("faster" in one for one in expected)
    assert any("over" in one for one in expected)
    assert any(makes.settings(name, "RULE.toml").get("claim") == "make" for name in makes.comparisons())


def test_score_files_are_what_the_generator_draws() -> None:
    """Drawn anew they are the same."""
    for name in makes.comparisons():
        kept = (makes.FOLDER / name / "scores.csv").read_text(encoding="utf-8").splitlines()
        assert kept[1:] == [",".join(map(str, row.values())) for row in makes.rows(name)]


# ---- what is signed, and the next look -------------------------------------------------------------------------------
def test_a_signed_verdict_is_shown_as_it_was_signed(finished: Callable[[str], Any]) -> None:
    """Read back from its document: the same values."""
    made = finished("worn_mill")
    study = planning.study(made.store, made.leader, made.study)
    assert study.state == "decided"
    shown = deciding.shown(made.store, made.leader, made.study)
    now = deciding.compared(made.store, made.leader, made.study)
    assert shown.found.makes["B"].attributes["grittiness"].p == now.makes["B"].attributes["grittiness"].p
    assert replace(shown.found, warnings=()) == replace(now, warnings=())
    assert shown.alike == deciding.alike_of(study.plan)
    document = closing.kept_verdict(made.store, made.leader, made.study, 1)
    assert document is not None
    assert registry.findings("comparison").kept_line(study.plan, document) == "B is not good enough."
    with pytest.raises(BadInput, match="version 99 of the rule of comparisons"):
        deciding.refuse_foreign(planning.document_of(study.plan), [{**document, "comparing_version": 99}])


def test_after_cannot_tell_a_sealed_look_may_follow_and_no_other(finished: Callable[[str], Any]) -> None:
    """All makes again under new codes; where every make has its answer nothing is added."""
    made = finished("conched_first")
    offers = deciding.offers(made.store, made.leader, made.study)
    assert [set(offer.told) for offer in offers] == [{"C"}, {"C"}]
    (sitting,) = deciding.plan_next_sitting(made.store, made.leader, made.study)
    assert sitting.number == 3
    assert planning.study(made.store, made.leader, made.study).look == 2
    done = finished("worn_mill")
    with pytest.raises(NotAllowed, match="every make has its answer"):
        deciding.plan_next_sitting(done.store, done.leader, done.study)


# ---- sentences, pictures, paper --------------------------------------------------------------------------------------
def test_sentences_say_no_more_than_was_tasted(finished: Callable[[str], Any]) -> None:
    """Each make, how far it reaches, and what it may be put down to."""
    made = finished("conched_first")
    shown, plan = deciding.shown(made.store, made.leader, made.study), _plan(made)
    told = comparison_finding(shown.found, (), plan.title, findings.words_by_make(plan), plan)
    assert told.headline == "B is no worse than A. C: cannot tell."
    assert told.extent == "This is about these batches, not about ways of making."
    assert "one batch of each was tasted. Not shown to match either: fat." in differing.because(
        "B", shown.found, shown.alike
    )
    over = finished("short_programme")
    shown = deciding.shown(over.store, over.leader, over.study)
    assert differing.because("B", shown.found, shown.alike).startswith(
        "Because of the way of making, as far as 2 other"
    )
    pair = finished("faster")
    found = deciding.shown(pair.store, pair.leader, pair.study).found
    assert findings.headline(found) == "B is as good in less time."
    assert "By how many hours more than these is not said." in comparison_finding(found).lede


def test_hours_are_said_drawn_and_signed(finished: Callable[[str], Any]) -> None:
    """From the store: headline, lede, picture, report and the signed document."""
    made = finished("hours_saved")
    boxes = preparing.boxes(made.store, made.preparer, made.study)
    assert {"control: without hot air, after 4 h", "make B: with hot air, after 4 h"} <= set(boxes.values())
    shown = deciding.shown(made.store, made.leader, made.study).found
    assert findings.headline(shown) == "B is no worse than A. A needs over 4\u00a0h longer than B."
    assert shown.bracket is not None
    assert "B needs at most 4 h and A more than 8 h: over 4 h longer." in comparison_finding(shown).lede
    assert "A after 8 h: shown not good enough" in str(needed(shown.bracket, PAPER))
    text = flowing(paper(made.store, made.leader, "report", made.study)[1])
    assert "A needs over 4 h longer than B." in text
    assert "All of these are held against A after 24 h, the one common reference." in text


def test_a_picture_marks_what_is_shown_and_what_reaches_out(finished: Callable[[str], Any]) -> None:
    """A cross with its number for acidity of C, discs elsewhere; both ends capped where the same is claimed."""
    made = finished("conched_first")
    found = deciding.shown(made.store, made.leader, made.study).found
    marks = {name: str(against(found, name, PAPER)) for name in found.makes}
    upper = found.makes["C"].attributes["acidity"].upper
    assert upper is not None
    assert f"{upper:.1f}" in marks["C"]
    assert found.makes["C"].attributes["acidity"].shown is False
    assert "The same, 1.2".lower() in marks["B"].lower()
    assert "C against A: acidity is worse by" in findings.alt(found)


def test_the_report_says_it_all_and_there_is_no_calendar(finished: Callable[[str], Any]) -> None:
    """Verdict, reach, what else differed, and the sealed rule."""
    made = finished("conched_first")
    text = flowing(paper(made.store, made.leader, "report", made.study)[1])
    for said in (
        "B is no worse than A. C: cannot tell.",
        "This is about these batches, not about ways of making.",
        "What else differed: B against A",
        "A false claim on any make happens in at most 5 of 100 such studies.",
    ):
        assert said in text
    with pytest.raises(NotFound, match="no pulls"):
        calendar(made.store, made.leader, planning.study(made.store, made.leader, made.study))


def test_an_earlier_seal_says_by_which_rule_it_is_decided(finished: Callable[[str], Any]) -> None:
    """Only of a study that nobody has signed: what was signed is shown as it was."""
    made = finished("conched_first")
    study = planning.study(made.store, made.leader, made.study)
    assert careful.earlier_rule(study) == []
    (told,) = careful.earlier_rule(replace(study, named={"comparing_version": 1}))
    assert told.startswith("Sealed under version 1 of the rule of comparisons and decided by version 2:")
    assert careful.earlier_rule(replace(study, named={}, state="decided")) == []


def test_every_warning_has_its_sentence() -> None:
    """All codes that the statistics can give of makes; the values of each as they give them."""
    from analysis.stopping import Warning

    values = {
        "assessors": 6, "widest": 1.4, "adjusted": False, "attribute": "acidity", "hours": "B", "reference": "A",
        "count": 1, "both": 4, "low": 0.5, "high": 2.0, "wanted": "lower", "why": "first too often",
    }  # fmt: skip
    for code in codes():
        own = values | ({"assessors": ("Heron",)} if code == "one person's copies" else {})
        assert told_warning(Warning(code, own)).endswith(".")


# ---- the planner, and another test -----------------------------------------------------------------------------------
def test_more_people_and_batches_change_the_chances() -> None:
    """The chances of the plan, of 6, 8 and 12 people, and of 1, 3 and 4 batches, each with its studies."""
    plan = replace(PLAN, attributes=PLAN.attributes[:1], sittings=1, replicates=2)
    *_before, power = prospects.more_and_more(plan, studies=500)
    assert power.done == power.wanted
    assert list(power.people) == [6, 8, 12]
    assert list(power.batches) == [1, 3, 4]
    assert power.people[6].shown.share < power.people[12].shown.share
    assert power.people[8] == power.own
    assert power.batches[3].shown.share < power.batches[4].shown.share
    assert power.own.shown.share + power.own.open.share == pytest.approx(1, abs=0.01)  # alike makes do not fail
    assert power.people[6].missed.share < power.people[12].missed.share


def test_limits_and_hours_are_reckoned_with() -> None:
    """Readings that keep a limit cost nothing, readings just at it all, and none yet are taken to keep it by far; of
    hours the sealed pair is shown more often than any number."""
    plan = replace(PLAN, attributes=PLAN.attributes[:1], assessors=tuple("abcdefghijkl"))
    moist = Likewise("moisture", "%", at_most=1.0)

    def shown(*readings: tuple[float, ...]) -> float:
        limited = replace(plan, alike=(replace(moist, readings=readings),))
        return next(prospects.more_and_more(limited, studies=400)).own.shown.share

    free = next(prospects.more_and_more(plan, studies=400)).own.shown.share
    assert shown((0.7, 0.71, 0.72), (0.71, 0.7, 0.72)) == pytest.approx(free)
    assert shown((0.7, 0.71, 0.72), (1.0, 1.01, 0.99)) == 0.0
    assert shown() == pytest.approx(free)
    hours = replace(plan, pulls=((4.0, 8.0, 24.0), (4.0, 24.0)), sittings=3)
    time = next(prospects.more_and_more(hours, studies=400)).time
    assert time is not None
    assert time.any is not None
    assert time.pair.share > time.any.share
    assert time.needed[0] > time.needed[1]
    assert "needs longer by any number of hours in about" in planned.time_told(time)


def test_a_forced_choice_is_proposed_where_it_answers_better() -> None:
    """Only of one pair, one attribute, the same claimed; and never worse than the scores by its own chances."""
    one = replace(PLAN, attributes=(Attribute("Acidity"),), claims={"Acidity": "same"})
    found = choices.hint(one, studies=300)
    assert found is not None
    assert min(found.choice.same, found.choice.noticed) > min(found.scores.same, found.scores.noticed)
    kind, draft = choices.started(one, found.choice.test)
    assert registry.plan(kind).from_document(planning.document_of(draft)) == draft
    assert (draft.method, draft.note) == (found.choice.test, "Acidity")
    assert (draft.question, draft.assessors, draft.contains) == (one.question, one.assessors, one.contains)
    assert choices.hint(PLAN, studies=300) is None
    assert choices.hint(replace(one, claims={"Acidity": "no worse"}), studies=300) is None


# ---- what a number rests on ------------------------------------------------------------------------------------------
def test_a_failing_claim_is_told_by_the_end_that_lies_beyond_the_margin() -> None:
    """Worse by 2.6 and at most 3.3 shows nothing; at least so much, beyond the margin of 1.0, does."""
    here = makes.FOLDER / "worn_mill"
    found = compare_files(here / "scores.csv", here / "RULE.toml").found
    (make,) = found.makes.values()
    failing = make.fails_on[0]
    one = make.attributes[failing]
    assert one.lower is not None
    assert one.lower >= found.claims[failing].margin
    told = findings.failing_told(failing, one, found.claims[failing])
    assert told.endswith(f"at least {one.lower:.1f} worse against a margin of 1.0")


@pytest.mark.parametrize(
    ("one", "told"),
    [
        (Likeness("differs", 13.467, 12.721, 14.212), "13.47 µm more, between 12.72 and 14.21"),
        (Likeness("differs", 130.4, 84.2, 176.6), "130 µm more, between 84 and 177"),
        (Likeness("matched", -0.0412, -0.0893, 0.0069), "0.041 µm less, between −0.089 and 0.007"),
    ],
)
def test_a_reading_has_the_digits_that_its_limits_bear(one: Likeness, told: str) -> None:
    """The half width keeps two significant digits (JCGM 100:2008, 7.2.6, from memory): .75, 46, .048."""
    (row,) = differing.rows("B", {"fineness": {"B": one}}, {"fineness": Likewise("fineness", "um", 1.0)})
    assert row[-1] == told
