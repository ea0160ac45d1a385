"""The invented panels: every verdict stands against the truth that its scores were drawn from."""

from __future__ import annotations

import csv
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import demo_panels
from analysis.stopping import Decision
from demo_panels import batches_workshop, generate
from studyapp.findings import butter
from studyapp.findings.batches import sentence
from studyapp.findings.instruments import values
from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours.files.bringing import decide_files
from studyapp.records import Mark, Staff
from studyapp.services import accounts, batches, closing, joining, planning, preparing, readings, tasting
from studyapp.services.checking import check
from studyapp.store import Store, clock, people
from tests.furnished import furnished

README = Path(demo_panels.__file__).with_name("README.md").read_text(encoding="utf-8")
PANELS = generate.panels()


def _decided(name: str, scores: str = "scores.csv", rule: str = "RULE.toml") -> tuple[Decision, Any]:
    readings = generate.FOLDER / name / "readings.csv"
    beside = readings if readings.exists() else None
    return decide_files(generate.FOLDER / name / scores, generate.FOLDER / name / rule, readings=beside)


def _true_worsening(name: str) -> dict[str, list[float]]:
    """Per attribute, how much worse each pull truly is than the longest, in scale units."""
    truth, rule = generate.settings(name, "truth.toml"), generate.settings(name, "RULE.toml")
    sign = {"lower": 1, "higher": -1, "same": 1}
    return {
        attribute: [sign[asked["wanted"]] * (mean - truth["attributes"][attribute]["mean"][-1]) for mean in means]
        for attribute, asked in rule["attributes"].items()
        for means in [truth["attributes"][attribute]["mean"]]
    }


def _truly_fails(name: str, pull: int) -> bool:
    """Worse than the longest pull or than an earlier one by a margin, or beyond a limit."""
    truth, rule = generate.settings(name, "truth.toml"), generate.settings(name, "RULE.toml")
    for attribute, worse in _true_worsening(name).items():
        asked, mean = rule["attributes"][attribute], truth["attributes"][attribute]["mean"][pull]
        if "limit" in asked and asked["wanted"] == "lower" and mean >= asked["limit"]:
            return True
        if worse[pull] >= asked["margin"] or worse[pull] - min(worse[: pull + 1]) >= asked["margin"]:
            return True
    return False


def test_every_verdict_and_its_wordings_have_a_panel() -> None:
    """The four verdicts, a window open and empty, an absent control, unbalanced orders, a second look."""
    shown = {generate.settings(name)["expected"]["verdict"] for name in PANELS}
    reasons = {generate.settings(name)["expected"].get("reason") for name in PANELS}
    assert shown == {"stop", "conche longer", "no hour fits", "cannot tell"}
    assert {"control not found", "orders", "reference meets limits", "window", "every pull fails"} <= reasons
    assert any("first_look_sittings" in generate.settings(name) for name in PANELS)


@pytest.mark.parametrize("name", PANELS)
def test_a_panel_shows_the_verdict_it_is_there_for(name: str) -> None:
    """Verdict, hours, wording and window as panel.toml says."""
    decision, offers = _decided(name)
    expected = generate.settings(name)["expected"]
    assert decision.verdict == expected["verdict"]
    assert decision.hours == expected.get("hours")
    assert decision.latest_hours == expected.get("latest_hours")
    assert decision.binding == expected.get("binding", decision.binding)
    if "reason" in expected:
        assert decision.reason == expected["reason"]
    looks = generate.settings(name, "RULE.toml")
    assert bool(offers) == (expected["verdict"] == "cannot tell" and decision.reason != "orders")
    assert all(offer.name == "new study" or looks["look"] < looks["looks"] for offer in offers)


@pytest.mark.parametrize("name", [n for n in PANELS if generate.settings(n)["expected"]["verdict"] == "stop"])
def test_where_the_rule_stops_the_truth_allows_it(name: str) -> None:
    """No attribute is truly worse than its margin, there or at any longer pull; limits hold there."""
    expected, pulls = generate.settings(name)["expected"], generate.settings(name)["pulls"]
    at = pulls.index(expected["hours"])
    rule = generate.settings(name, "RULE.toml")["attributes"]
    for attribute, worse in _true_worsening(name).items():
        assert max(worse[at:]) < rule[attribute]["margin"]
    assert not _truly_fails(name, at)
    if "latest_hours" in expected:
        latest = pulls.index(expected["latest_hours"])
        assert not _truly_fails(name, latest)
        assert latest + 1 == len(pulls) or _truly_fails(name, latest + 1)


def test_where_the_rule_asks_for_more_hours_the_truth_still_improves() -> None:
    """By more than a margin in the last step."""
    assert max(worse[-2] for worse in _true_worsening("conche_longer").values()) > 1.0


@pytest.mark.parametrize("name", ["no_hour_fits", "empty_window"])
def test_where_no_hour_fits_every_pull_truly_fails(name: str) -> None:
    """On a limit, against the longest pull, or against an earlier one; an empty window is not always shown."""
    assert all(_truly_fails(name, pull) for pull in range(len(generate.settings(name)["pulls"])))


def test_where_the_control_was_not_found_there_was_nothing_to_find() -> None:
    """All true means are equal."""
    assert {value for worse in _true_worsening("control_not_found").values() for value in worse} == {0}


def test_where_the_rule_cannot_tell_a_shorter_hour_would_truly_do() -> None:
    """So the price of an answer is worth paying."""
    at = generate.settings("cannot_tell")["pulls"].index(12)
    assert not any(_truly_fails("cannot_tell", pull) for pull in range(at, 6))


def test_the_second_look_answers_what_the_first_could_not() -> None:
    """Two sittings, then three, under one sealed rule of two looks."""
    first, offers = _decided("second_look", "scores_first_look.csv", "RULE_first_look.toml")
    assert (first.verdict, first.reason, first.look, first.looks) == ("cannot tell", "reference meets limits", 1, 2)
    assert offers
    assert _decided("second_look")[0].look == 2
    one, two = (generate.settings("second_look", file) for file in ("RULE_first_look.toml", "RULE.toml"))
    assert {**one, "look": 2} == two


@pytest.mark.parametrize("name", PANELS)
def test_the_files_are_what_truth_and_seed_give(name: str) -> None:
    """Nobody edited a score by hand."""
    kept = list(csv.reader((generate.FOLDER / name / "scores.csv").read_text(encoding="utf-8").splitlines()))
    drawn = [
        ["" if value is None else f"{value:g}" if isinstance(value, float) else str(value) for value in row]
        for score in generate.draw(name)
        for row in [[getattr(score, column) for column in generate.columns(name)]]
    ]
    assert kept == [list(generate.columns(name)), *drawn]
    read, file = generate.read(name), generate.FOLDER / name / "readings.csv"
    assert file.exists() == bool(read)
    if read:
        rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
        assert rows == [{column: str(value) for column, value in row.items()} for row in read]


def test_the_batch_that_departs_is_the_one_that_truly_does() -> None:
    """One truth for three batches but for one pull of one of them; that pull of that batch is flagged and no other."""
    decision, _offers = _decided("three_batches")
    (departs,) = generate.settings("three_batches", "truth.toml")["batches"].items()
    shifted = [(name, row.index(max(row))) for name, row in departs[1].items() if any(row)]
    pulls = generate.settings("three_batches")["pulls"]
    assert decision.batches is not None
    flagged = [(name, one.batch, one.hours) for name, one in decision.batches.flag.items() if one and one.departs]
    assert flagged == [(name, departs[0], pulls[at]) for name, at in shifted]
    assert decision.batches.names == tuple(generate.settings("three_batches")["batches"])


def test_the_limit_that_decides_is_truly_broken_before() -> None:
    """Viscosity above 4 Pa.s at every pull that flavour alone would allow and the rule does not."""
    flow, limit = generate.settings("flow"), generate.settings("flow", "RULE.toml")["gates"]["viscosity"]["at_most"]
    truth = generate.settings("flow", "truth.toml")["gates"]["viscosity"]["mean"]
    assert [hours for hours, mean in zip(flow["pulls"], truth, strict=True) if mean <= limit] == [16, 24]


@pytest.mark.parametrize("name", PANELS)
def test_the_readme_has_a_row_for_every_panel(name: str) -> None:
    """With its truth beside its verdict."""
    assert f"| `{name}` |" in README
    assert "Everything in this folder is made up" in README


# ---- in a store ----------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store filled once for the tests that only read it."""
    store, _nothing = furnished(tmp_path_factory.mktemp("workshop") / "store.sqlite", demo_panels.load)
    yield store
    store.close()


@pytest.fixture(scope="module")
def leader(workshop: Store) -> Staff:
    """The invented panel leader."""
    return _leader(workshop)


def _leader(store: Store) -> Staff:
    with store.read() as tx:
        found = people.staff_by_role(tx, "leader")
    assert found is not None
    return found


def _by_title(store: Store, leader: Staff) -> dict[str, Any]:
    return {study.plan.title: study for study in planning.studies(store, leader)}


def test_the_record_of_the_workshop_is_sound(workshop: Store, leader: Staff) -> None:
    """Written in one transaction, verified like any other."""
    report = check(workshop.url)
    assert report.sound, report.findings
    assert report.events > 1000
    assert not accounts.needs_first_leader(workshop)


@pytest.mark.parametrize("name", ["stop", "conche_longer", "no_hour_fits", "window", "cannot_tell", "second_look"])
def test_a_study_in_the_store_has_the_verdict_of_its_file(name: str, workshop: Store, leader: Staff) -> None:
    """The same scores under the same rule, whatever orders the seal dealt."""
    invented = generate.settings(name)
    study = _by_title(workshop, leader)[invented["title"]]
    decision = deciding.decision(workshop, leader, study.id)
    assert (decision.verdict, decision.hours) == (invented["expected"]["verdict"], invented["expected"].get("hours"))
    assert decision.scope["sittings"] == invented["sittings"]
    assert study.state == ("opened" if name == "cannot_tell" else "decided")
    assert study.example


def test_the_invented_batches_are_what_their_truth_gives(workshop: Store, leader: Staff) -> None:
    """Six over two recipes. Means of three portions lie within four of their standard errors of the truth; the one that
    departs says so and no other says the temperature; what each contains is what its tasters read."""
    told = batches_workshop.truth()
    kept = {one.draft.label: one for one in batches.everywhere(workshop, leader)}
    for name, asked in told["batches"].items():
        one, (recipe, made) = kept[asked["label"]], batches_workshop.recipe_of(name)
        assert one.draft.recipe == recipe
        assert one.study is not None
        assert not batches.contents_differ(planning.study(workshop, leader, one.study), one)
        read = values(readings.read(workshop, leader, one.id))
        for hour, low, plastic, water in zip(told["pulls"], made["yield"], made["plastic"], made["water"], strict=True):
            true = (low**0.5 + (plastic * 40) ** 0.5) ** 2 / 40
            found = sum(read["viscosity at 40 1/s", hour]) / 3
            assert found == pytest.approx(true, rel=4 * (told["portion"] ** 2 + told["point"] ** 2) ** 0.5 / 3**0.5)
            moisture = sum(read["moisture", hour]) / 3
            assert moisture == pytest.approx(water, abs=4 * told["moisture"] / 3**0.5)
        said = sentence(one, batches.log(workshop, leader, one.id))
        assert ("°C above plan" in said) == ("above" in asked)
    assert len({one.draft.recipe for one in kept.values()}) == 2


def test_the_invented_ladder_is_worth_what_its_truth_gives(workshop: Store, leader: Staff) -> None:
    """At least so much, and no more than is true; both intervals hold the truth, by hand 1.6 and 1.3 % of butter."""
    (one,) = [batch for batch in batches.everywhere(workshop, leader) if batch.draft.made.ladder.rungs]
    found = butter.worths(butter.table(one.draft.made.ladder))
    true = batches_workshop.worth()
    assert true == pytest.approx({"viscosity at 40 1/s": 1.62, "stress at 5 1/s": 1.32}, abs=0.01)
    assert butter.counts(found) == "stress at 5 1/s"
    for name, worth in found.items():
        assert worth.low is not None
        assert worth.high is not None
        assert 0 < worth.low < true[name] < worth.high


def test_a_draft_waits_to_be_sealed(workshop: Store, leader: Staff) -> None:
    """Nothing in it blocks the seal."""
    draft = next(study for study in planning.studies(workshop, leader) if study.state == "draft")
    assert [problem.sentence for problem in rule.problems(draft.plan) if problem.blocks] == []


@pytest.mark.parametrize("way", ["link", "visitor"])
def test_a_newcomer_can_taste_at_once(way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One sitting is open and all its trays are out: by a link or as a visitor, first page, warm-up."""
    store, _nothing = furnished(tmp_path / "store.sqlite", demo_panels.load)
    try:
        token = _linked(store) if way == "link" else _visiting(store, monkeypatch)
        assert tasting.place(store, token).kind == "welcome"
        tasting.agree(store, token)
        assert tasting.place(store, token).kind == "warm_up"
    finally:
        store.close()


def test_the_others_taste_what_is_left_and_a_visitor_s_mark_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The study of the walk then reaches the verdict of its file, and its record is sound."""
    store, _nothing = furnished(tmp_path / "store.sqlite", demo_panels.load)
    try:
        token, member = _visiting(store, monkeypatch), _leader(store)
        tasting.agree(store, token)
        warm_up = tasting.place(store, token).serving
        assert warm_up is not None
        tasting.finish_serving(store, token, warm_up)
        ticks, wall = clock.ticks, clock.wall  # the machine's own, a minute later: the rest is over
        monkeypatch.setattr(clock, "ticks", lambda: ticks() + 60)
        monkeypatch.setattr(clock, "wall", lambda: wall() + 60)
        first = tasting.place(store, token)
        assert first.serving is not None
        line = first.lines[0].id
        tasting.keep_mark(store, token, Mark(first.serving, line, 3.7, secrets.token_hex(12)))
        study = _by_title(store, member)["Plain dark, this afternoon"].id
        demo_panels.taste_the_rest(store, study)
        closing.open_key(store, member, study, "a walk")
        decision = deciding.decision(store, member, study)
        assert (decision.verdict, decision.scope["sittings"]) == ("stop", 2)
        with store.read() as tx:
            kept = "SELECT count(*) FROM score WHERE serving_id = ? AND attribute_id = ?"
            assert tx.exec_driver_sql(kept, (first.serving, line)).scalar() == 1
        assert check(store.url).sound
    finally:
        store.close()


def _linked(store: Store) -> str:
    member = _leader(store)
    hours = {study.id for study in planning.studies(store, member) if study.kind == "hours"}
    opened = [each for each in preparing.sittings(store, member) if each.state == "open" and each.study in hours]
    assert len(opened) == 1
    return joining.join(store, joining.issue_links(store, member, opened[0].id)[0].code, "10.0.0.7", None)


def _visiting(store: Store, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("STUDYAPP_DEMO", "1")
    return joining.demo_seat(store, "hours")
