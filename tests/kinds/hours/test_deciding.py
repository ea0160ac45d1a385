"""The key, the verdict, and looking again."""

from __future__ import annotations

import json
import random
import secrets
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, NothingToDecide
from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours.deciding import ways
from studyapp.kinds.hours.files.decisions import decision_document
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.setting_out import note_pull
from studyapp.records import Attribute, Mark, Sitting
from studyapp.services import closing, joining, planning, preparing, tasting, watching
from studyapp.services.checking import check
from tests.conftest import CHECKS, another_leader
from tests.furnished import reached

MEANS = {0.0: 7.0, 8.0: 4.3, 24.0: 4.0}


@pytest.fixture
def plan() -> HoursPlan:
    """Two looks of one sitting each; three pulls; one attribute decides."""
    return HoursPlan(
        "Two looks",
        question="Is 8 h enough?",
        pulls=tuple(Pull(hours) for hours in MEANS),
        attributes=(Attribute("Acidity"), Attribute("Fruit", decides=False)),
        looks=2,
        sittings=1,
        next_sittings=1,
        rest_seconds=0,
        contains="cocoa",
    )


def serve(workshop: Any, sitting: Sitting, spread: float, seed: int, means: dict[float, float] = MEANS) -> None:
    """Everybody tastes a whole sitting; marks are the mean of the pull and normal noise of that spread.

    The noise follows seat, pull and line, so that the scores are the same whatever orders the seal has dealt.
    """
    store = workshop.store
    key = preparing.levels_by_code(store, workshop.preparer, sitting.id)
    for tray in preparing.trays(store, workshop.preparer, sitting.id):
        preparing.release_tray(store, workshop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, workshop.leader, sitting.id)
    for link in joining.issue_links(store, workshop.leader, sitting.id):
        hand = workshop.hand(joining.join(store, link.code, "10.0.0.7", None))
        hand.taste_all(lambda place, line: _mark(f"{seed} {place.pseudonym}", line, key[place.code], means, spread))


def _mark(who: str, line: str, hours: float, means: dict[float, float], spread: float) -> float:
    noise = random.Random(f"{who} {line} {hours}").gauss(0.0, spread)
    return min(10.0, max(0.0, means[hours] + noise))


@pytest.fixture
def hand_maker(workshop: Any, hand: Any) -> Any:
    """Hands for any seat of the workshop."""
    workshop.hand = lambda token: type(hand)(workshop.store, token)
    return workshop


@pytest.fixture
def opened(hand_maker: Any) -> Any:
    """The first look tasted with a spread that leaves the answer open, and its key opened."""

    def taste() -> None:
        serve(hand_maker, hand_maker.sitting, 1.2, 3)
        closing.open_key(hand_maker.store, hand_maker.leader, hand_maker.study, "Ada")

    reached(hand_maker.store, taste, "a first look that cannot tell")
    return hand_maker


def test_a_pull_that_nobody_scored_is_named_and_served_again(workshop: Any) -> None:
    """A spoiled tray of the longest pull: no shorter pull takes its place as the reference, and the study goes on."""
    store, leader = workshop.store, workshop.leader
    watching.open_sitting(store, leader, workshop.sitting.id)
    watching.close_sitting(store, leader, workshop.sitting.id, "the power was cut")
    closing.open_key(store, leader, workshop.study, "Ada")
    for act in (deciding.decision, deciding.offers, deciding.description):
        with pytest.raises(NothingToDecide, match="fewer than two pulls were scored"):
            act(store, leader, workshop.study)
    again = deciding.plan_next_sitting(store, leader, workshop.study)
    assert [sitting.number for sitting in again] == [2]


def test_the_reference_is_the_longest_sealed_pull_or_nothing(hand_maker: Any) -> None:
    """Everybody marks the two shorter pulls and cannot judge the longest."""
    store = hand_maker.store
    key = preparing.levels_by_code(store, hand_maker.preparer, hand_maker.sitting.id)
    for tray in preparing.trays(store, hand_maker.preparer, hand_maker.sitting.id):
        preparing.release_tray(store, hand_maker.preparer, hand_maker.sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, hand_maker.leader, hand_maker.sitting.id)
    for number, link in enumerate(joining.issue_links(store, hand_maker.leader, hand_maker.sitting.id)):
        token = joining.join(store, link.code, "10.0.0.7", None)
        tasting.agree(store, token)
        while (here := tasting.place(store, token)).kind in ("serving", "warm_up"):
            if here.kind == "serving" and key[here.code] == 24.0:
                tasting.cannot_judge(store, token, here.serving, "the cup is empty", f"empty cup of seat {number}")
                continue
            for line in here.lines:
                value = _mark(str(number), line.name, key[here.code], MEANS, 0.2)
                tasting.keep_mark(store, token, Mark(here.serving, line.id, value, secrets.token_hex(12)))
            tasting.finish_serving(store, token, here.serving)
    closing.open_key(store, hand_maker.leader, hand_maker.study, "Ada")
    found = deciding.decision(store, hand_maker.leader, hand_maker.study)
    assert (found.verdict, found.reason) == ("cannot tell", "reference lost")
    assert [(one.hours, one.fate) for one in found.lost] == [(24.0, "unread")]
    assert deciding.offers(store, hand_maker.leader, hand_maker.study) == ()


def test_scores_stay_hidden_until_the_key_is_open(workshop: Any) -> None:
    """From the leader as well."""
    for act in (deciding.scores, deciding.decision, deciding.offers):
        with pytest.raises(NotAllowed, match="not open yet"):
            act(workshop.store, workshop.leader, workshop.study)


def test_the_key_waits_for_open_servings(workshop: Any) -> None:
    """No look while somebody still tastes."""
    with pytest.raises(NotAllowed, match="15 servings of Tasting 1 are still open"):
        closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")


def test_the_key_opens_once_by_name_and_by_a_leader(opened: Any) -> None:
    """Who opened it is in the record."""
    with pytest.raises(NotAllowed, match="opened before"):
        closing.open_key(opened.store, opened.leader, opened.study, "Ada")
    with pytest.raises(NotAllowed, match="another role"):
        closing.open_key(opened.store, opened.preparer, opened.study, "Ben")
    (key,) = closing.opened_keys(opened.store, opened.leader, opened.study)
    assert (key.look, key.name, key.alone) == (1, "Ada", True)
    assert planning.study(opened.store, opened.leader, opened.study).state == "opened"


def test_a_draft_has_no_key(workshop: Any) -> None:
    """There is nothing to open before the seal."""
    draft = planning.new_study(workshop.store, workshop.leader, "hours", "Draft")
    with pytest.raises(NotAllowed, match="not sealed"):
        closing.open_key(workshop.store, workshop.leader, draft, "Ada")


def test_opening_ends_the_phones(opened: Any) -> None:
    """Whoever still holds a seat sees nothing and marks nothing afterwards."""
    with opened.store.read() as tx:
        live = tx.exec_driver_sql("SELECT count(*) FROM token WHERE kind = 'seat' AND ended_at IS NULL").scalar()
    assert live == 0


def test_the_scores_are_tidy_and_true(opened: Any) -> None:
    """One row a score, hours from the key, warm-ups left out, marks as they were given."""
    frame = deciding.scores(opened.store, opened.leader, opened.study)
    columns = ["assessor", "hours", "attribute", "score", "sitting", "replicate", "position", "batch"]
    assert list(frame.columns) == columns
    assert len(frame) == 5 * 3 * 2
    assert set(frame["hours"]) == set(MEANS)
    assert set(frame["position"]) == {1, 2, 3}
    assert set(frame["replicate"]) == {1}
    means = frame[frame["attribute"] == "Acidity"].groupby("hours")["score"].mean()
    assert all(abs(means[hours] - mean) < 1.7 for hours, mean in MEANS.items())


def test_the_verdict_is_the_one_of_the_sealed_rule(opened: Any) -> None:
    """Screen, command and record come from the same function on the same scores."""
    from analysis.stopping import decide

    verdict = deciding.decision(opened.store, opened.leader, opened.study)
    frame = deciding.scores(opened.store, opened.leader, opened.study)
    assert verdict == decide(frame, rule.rule_of(opened.plan, 1))
    assert (verdict.verdict, verdict.look, verdict.looks) == ("cannot tell", 1, 2)


def test_a_second_look_has_new_codes_and_counts_all_scores(opened: Any) -> None:
    """After `cannot tell` one more sitting is planned; its level is the sealed one for two looks."""
    with opened.store.read() as tx:
        before = {row[0] for row in tx.exec_driver_sql("SELECT code FROM serving")}
    (second,) = deciding.plan_next_sitting(opened.store, opened.leader, opened.study, None)
    with opened.store.read() as tx:
        codes = tx.exec_driver_sql("SELECT code FROM serving WHERE sitting_id = ?", (second.id,)).scalars().all()
    assert len(codes) == 20
    assert not before & set(codes)
    study = planning.study(opened.store, opened.leader, opened.study)
    assert (study.state, study.look, second.number, second.state) == ("sealed", 2, 2, "planned")
    with pytest.raises(NotAllowed, match="open the key first"):
        deciding.plan_next_sitting(opened.store, opened.leader, opened.study, None)
    serve(opened, second, 0.2, 5)
    closing.open_key(opened.store, opened.leader, opened.study, "Ada")
    verdict = deciding.decision(opened.store, opened.leader, opened.study)
    assert (verdict.look, verdict.level) == (2, pytest.approx(0.0304, abs=5e-5))  # published level for two looks
    assert len(deciding.scores(opened.store, opened.leader, opened.study)) == 60
    assert check(opened.store.url).sound


def test_between_two_looks_the_first_results_stand(opened: Any) -> None:
    """While the second sitting runs, scores of the first look stay readable and its own stay hidden."""
    (second,) = deciding.plan_next_sitting(opened.store, opened.leader, opened.study, None)
    serve(opened, second, 0.2, 5)
    assert len(deciding.scores(opened.store, opened.leader, opened.study)) == 30
    watching.note_deviation(opened.store, opened.leader, opened.study, "A late thought.")
    assert watching.deviations(opened.store, opened.leader, opened.study)[-1].known == "results seen"


def test_a_look_beyond_the_sealed_number_is_refused(opened: Any) -> None:
    """Two looks were sealed; a third would make the error larger than sealed."""
    (second,) = deciding.plan_next_sitting(opened.store, opened.leader, opened.study, None)
    serve(opened, second, 2.5, 11, {0.0: 5.0, 8.0: 5.0, 24.0: 5.0})
    closing.open_key(opened.store, opened.leader, opened.study, "Ada")
    with pytest.raises(NotAllowed, match="2 openings of the key were sealed"):
        deciding.plan_next_sitting(opened.store, opened.leader, opened.study, None)


def test_an_answer_ends_the_study(hand_maker: Any) -> None:
    """Looking again after a verdict is refused."""
    serve(hand_maker, hand_maker.sitting, 0.1, 3, {0.0: 8.0, 8.0: 4.0, 24.0: 4.0})
    closing.open_key(hand_maker.store, hand_maker.leader, hand_maker.study, "Ada")
    verdict = deciding.decision(hand_maker.store, hand_maker.leader, hand_maker.study)
    assert (verdict.verdict, verdict.hours) == ("stop", 8.0)
    with pytest.raises(NotAllowed, match="gave an answer"):
        deciding.plan_next_sitting(hand_maker.store, hand_maker.leader, hand_maker.study, None)


@pytest.mark.parametrize(
    ("pulls", "sentence"),
    [((8.0, 24.0), "control"), ((0.0, 8.0), "longest"), ((0.0, 7.0, 24.0), "sealed plan")],
)
def test_the_next_sitting_keeps_reference_and_control(opened: Any, pulls: tuple[float, ...], sentence: str) -> None:
    """Fewer pulls are fine; the comparison itself is not given up."""
    with pytest.raises(BadInput, match=sentence):
        deciding.plan_next_sitting(opened.store, opened.leader, opened.study, pulls)
    assert planning.study(opened.store, opened.leader, opened.study).look == 1


def test_the_next_sitting_may_serve_fewer_pulls(opened: Any) -> None:
    """Only the named pulls come back, to everybody."""
    (second,) = deciding.plan_next_sitting(opened.store, opened.leader, opened.study, (0.0, 24.0))
    rows = preparing.fill_rows(opened.store, opened.preparer, second.id)
    assert set(preparing.levels_by_code(opened.store, opened.preparer, second.id).values()) == {0.0, 24.0}
    assert len([row for row in rows if row.position > 0]) == 10


def test_two_people_sign_and_the_verdict_is_kept(opened: Any) -> None:
    """The document that was signed lies in the record, under the chain; the same account does not sign twice."""
    closing.sign(opened.store, opened.leader, opened.study, "ran the test")
    with pytest.raises(NotAllowed, match="Somebody else"):
        closing.sign(opened.store, opened.leader, opened.study, "decides")
    closing.sign(opened.store, another_leader(opened.store, opened.leader), opened.study, "decides")
    assert [s.name for s in closing.signatures(opened.store, opened.leader, opened.study)] == ["Ada", "Ida"]
    assert planning.study(opened.store, opened.leader, opened.study).state == "decided"
    kept = closing.kept_verdict(opened.store, opened.leader, opened.study, 1)
    verdict = deciding.decision(opened.store, opened.leader, opened.study)
    assert kept == json.loads(json.dumps(decision_document(verdict, (), True)))
    assert check(opened.store.url).sound


def test_a_signature_needs_an_open_key_and_a_role(workshop: Any) -> None:
    """Nobody signs what nobody has read."""
    with pytest.raises(BadInput, match="sign as"):
        closing.sign(workshop.store, workshop.leader, workshop.study, " ")
    with pytest.raises(NotAllowed, match="not open yet"):
        closing.sign(workshop.store, workshop.leader, workshop.study, "decides")


def test_the_price_of_an_answer_comes_with_cannot_tell(opened: Any) -> None:
    """Each offer has servings and a chance between none and all."""
    offers = deciding.offers(opened.store, opened.leader, opened.study)
    assert offers
    assert all(0 <= offer.settles <= 1 and offer.servings > 0 for offer in offers)


def test_every_way_to_an_answer_asks_what_its_draft_would(opened: Any) -> None:
    """First what counts on, with the numbers of the sentence above; then new studies, each of its own design."""
    store, leader = opened.store, opened.leader
    plan = planning.study(store, leader, opened.study).plan
    *early, last = ways.searching(store, leader, opened.study)
    assert [len(one.found) for one in early] == sorted({len(one.found) for one in early})
    assert ways.all_ways(store, leader, opened.study) == last.found
    going = [way for way in last.found if way.plan is None]
    assert tuple(way.offer for way in going) == deciding.offers(store, leader, opened.study)
    assert list(last.found[: len(going)]) == going
    for way in last.found[len(going) :]:
        assert way.plan is not None
        served = way.plan.sittings + (way.plan.looks - 1) * way.plan.next_sittings
        assert (way.offer.pulls, way.offer.sittings) == (tuple(pull.hours for pull in way.plan.pulls), served)
        assert way.offer.people == len(plan.assessors) + len(way.joining)
        assert set(plan.assessors) <= set(way.plan.assessors)
        assert way.offer.pieces <= plan.palate
    draft = planning.copy(store, leader, opened.study, last.found[-1].plan, "eight sittings")
    assert (planning.study(store, leader, draft).state, planning.study(store, leader, draft).plan.title) == (
        "draft",
        "Two looks: eight sittings",
    )


def test_too_little_chocolate_is_said_where_a_way_takes_more(opened: Any) -> None:
    """Five people were served each pull once, 4.5 g a piece: of 40 g 17.5 g are left. Once more, with a warm-up piece
    for each, takes up to 45 g of one pull."""
    store, leader = opened.store, opened.leader
    for mass, left in ((40.0, 17.5), (67.0, 44.5), (67.5, None)):
        for hours in MEANS:
            note_pull(store, leader, opened.study, hours, "2026-11-20 10:00", mass)
        way = ways.all_ways(store, leader, opened.study)[0]
        assert (way.grams, way.there) == (45.0, left)


def test_who_opened_the_key_cannot_taste_the_next_look(opened: Any) -> None:
    """The leader has seen the first key and the results."""
    from studyapp.services import accounts

    (second,) = deciding.plan_next_sitting(opened.store, opened.leader, opened.study, None)
    link = joining.issue_links(opened.store, opened.leader, second.id)[0]
    token = accounts.sign_in(opened.store, "Ada", opened.passphrase, "10.0.0.7")
    with pytest.raises(NotAllowed, match="you hold the key"):
        joining.join(opened.store, link.code, "10.0.0.7", token)
    accounts.add_staff(opened.store, opened.leader, "Dora", "leader", opened.passphrase)
    other = accounts.sign_in(opened.store, "Dora", opened.passphrase, "10.0.0.7")
    with pytest.raises(NotAllowed, match="you hold the key"):  # every leader may read the results now
        joining.join(opened.store, link.code, "10.0.0.7", other)
    assert tasting.place(opened.store, joining.join(opened.store, link.code, "10.0.0.7", None)).kind == "welcome"
