"""A corrected rule and what was sealed or signed before it: nothing that stands is rewritten, and nothing is hidden."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import rfc8785

from analysis.stopping import RULE_VERSION, AttributeResult, AttributeRule, Decision, PullResult, Rule, decide
from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours.deciding import signed
from studyapp.kinds.hours.files.decisions import decision_document
from studyapp.kinds.hours.findings import hours_finding, versions, warning_sentence
from studyapp.kinds.hours.plan import rule_version
from studyapp.services import closing, packages, planning
from studyapp.services.checking import check
from studyapp.store import open_store
from tests.kinds.aroma.aroma_kitchen import furnish_aroma
from tests.stores import earlier
from tests.stores.earlier import Earlier, signed_before

STORE = "v0002_rule_1"  # sealed and signed under version 1, by code that knew no versions


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Earlier]:
    """The store of before, brought up to date."""
    with earlier.opened(STORE, tmp_path) as found:
        yield found


def document_of(store: Any, study: str) -> dict[str, Any]:
    """The sealed document as the store holds it."""
    with store.read() as tx:
        return json.loads(str(tx.exec_driver_sql("SELECT plan FROM study WHERE id = ?", (study,)).scalar()))


# ---- the seal --------------------------------------------------------------------------------------------------------
def test_a_seal_names_the_version_of_its_rule(workshop: Any) -> None:
    """It is part of what is hashed (RFC 8785, SHA-256), and stands in the rule as people read it."""
    study = planning.study(workshop.store, workshop.leader, workshop.study)
    document = document_of(workshop.store, workshop.study)
    assert document["rule_version"] == rule_version(study) == RULE_VERSION == 3
    assert study.seal == hashlib.sha256(rfc8785.dumps(document)).hexdigest()
    assert study.seal != hashlib.sha256(rfc8785.dumps({**document, "rule_version": 1})).hexdigest()
    assert rule.sentences(study.plan, study.named)[-1] == "Version 3 of the stop rule."
    assert check(workshop.store.url).sound


def test_a_draft_names_no_version_and_its_copy_none(workshop: Any) -> None:
    """The version in force on the day of the seal counts."""
    copy = planning.copy(workshop.store, workshop.leader, workshop.study)
    assert rule_version(planning.study(workshop.store, workshop.leader, copy)) is None
    assert "rule_version" not in document_of(workshop.store, copy)


def test_a_study_of_an_aroma_names_its_own_rule(tmp_path: Path) -> None:
    """Its seal names the version that knows a control, whatever the version of the stop rule."""
    store = open_store(str(tmp_path / "studies.sqlite"))
    kitchen = furnish_aroma(store)
    assert document_of(store, kitchen.study)["rule_version"] == 2
    assert planning.study(store, kitchen.leader, kitchen.study).seal is not None
    store.close()


def test_a_seal_that_names_none_is_of_version_1(kept: Earlier) -> None:
    """And goes on proving the document without it."""
    for told in kept.told["studies"]:
        study = planning.study(kept.store, kept.leader, told["id"])
        if told["kind"] == "hours":
            assert rule_version(study) == (1 if told["seal"] else None)
            assert "rule_version" not in document_of(kept.store, told["id"])
    assert check(kept.store.url, kept.told["head"]).sound


# ---- a verdict read back ---------------------------------------------------------------------------------------------
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
COURSES: dict[str, tuple[float, ...]] = {
    "settles": (7.0, 5.5, 3.6, 3.5, 3.5, 3.5),
    "still falls": (9.0, 8.0, 7.0, 6.0, 5.0, 3.0),
    "unfit": (9.5, 9.4, 9.3, 9.2, 9.1, 9.0),
    "rises": (7.0, 4.5, 2.0, 2.0, 3.0, 4.5),
    "open": (7.0, 5.5, 4.8, 4.4, 4.2, 4.0),
}
RULE = Rule({"acidity": AttributeRule("lower", 1.0, 6.0), "fruit": AttributeRule("higher", 1.0)}, looks=2)


def scores(course: str, people: int, gaps: float, spread: float, seed: int) -> pd.DataFrame:
    """Invented scores of two attributes in two sittings."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"p{person}", hours, name, sitting, round(float(np.clip(mean + rng.normal(0, spread), 0, 10)), 1))
        for sitting in (1, 2)
        for person in range(people)
        for place, hours in enumerate(HOURS)
        for name, mean in (("acidity", COURSES[course][place]), ("fruit", 4.0 + min(place, 3)))
        if rng.random() >= gaps
    ]
    return pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "sitting", "score"])


def through_the_record(decision: Decision) -> dict[str, Any]:
    """A decision as the store keeps it: canonical JSON and back."""
    kept: dict[str, Any] = json.loads(rfc8785.dumps(decision_document(decision, (), True)))
    return kept


@pytest.mark.parametrize("adjust", [(), ("sitting:hours",)])
@pytest.mark.parametrize(("people", "gaps", "spread"), [(8, 0.0, 0.3), (4, 0.0, 0.3), (7, 0.1, 0.3), (6, 0.0, 1.5)])
@pytest.mark.parametrize("course", COURSES)
def test_what_is_written_is_read_back(
    course: str, people: int, gaps: float, spread: float, adjust: tuple[str, ...]
) -> None:
    """Every verdict, every number, every warning: page and report cannot tell the record from the decision itself."""
    made = decide(scores(course, people, gaps, spread, 5), replace(RULE, adjust=adjust))
    read = signed.decision_from(through_the_record(made))
    assert read == made
    assert hours_finding(read, (), "Invented") == hours_finding(made, (), "Invented")


def test_the_record_leaves_nothing_of_a_decision_out() -> None:
    """A field that is added to a decision later must be written and read as well."""
    made = decide(scores("settles", 8, 0.0, 0.3, 5), RULE)
    document = through_the_record(made)
    by_hours = {"passes"}  # stands with each pull
    assert {field.name for field in fields(Decision)} - by_hours <= set(document)
    for result in document["attributes"].values():
        assert {field.name for field in fields(AttributeResult)} - {"name", "rule"} <= set(result)
        for pull in result["pulls"]:
            assert {field.name for field in fields(PullResult)} | by_hours <= set(pull)


def test_a_document_of_version_1_reads_like_its_decision(kept: Earlier) -> None:
    """It holds neither who told the control nor which note comes next; all else is worked out from it."""
    for title in ("Hours, signed", "Hours, signed before a better hour"):
        document = closing.kept_verdict(kept.store, kept.leader, kept.study(title), 1)
        assert document is not None
        assert "decisive_upper" not in document["attributes"]["Acidity"]["pulls"][0]
        read = signed.decision_from(document)
        assert (read.control_told_by, read.next_binding) == (0, None)
        assert (read.verdict, read.hours, read.level) == tuple(document[k] for k in ("verdict", "hours", "level"))
        pulls = document["attributes"]["Acidity"]["pulls"]
        uppers = [
            [pull[f"{error}upper"] for error in ("", "own_", "sitting_")] for pull in pulls if pull["se"] is not None
        ]
        assert [pull.decisive_upper for pull in read.attributes["Acidity"].pulls[:-1]] == [max(u) for u in uppers]
        failing = {float(hours): ("Acidity",) for hours in document["attributes"]["Acidity"]["shown_to_fail"]}
        assert read.fails_on == failing != {}
        assert read.passes == {float(pull["hours"]): pull["passes"] for pull in pulls}


# What version 1 could write into a signed document; a later rule may raise less, but must still be able to say it.
VERSION_1_WARNINGS: dict[str, dict[str, Any]] = {
    "too few assessors": {"attribute": "acidity", "assessors": 4},
    "same score everywhere": {"attribute": "acidity", "assessors": 8},
    "own error unknown": {"attribute": "acidity", "assessors": 8},
    "few assessors": {"assessors": 6},
    "one batch": {},
    "order not recorded": {},
    "orders unbalanced": {"why": "one order for all", "adjusted": False},
    "as prepared for this sitting": {},
    "sittings disagree": {"attribute": "acidity"},
    "someone still notices": {"attribute": "acidity", "count": 1, "assessors": 8, "hours": 12, "reference": 24},
    "scales stretched": {"attribute": "acidity", "low": 0.3, "high": 1.4},
}
VERSION_1_REASONS = {
    "stop": (None,),
    "conche longer": (None,),
    "no hour fits": ("every pull fails", "window empty"),
    "cannot tell": (
        "orders",
        "not enough data",
        "control not found",
        "reference meets limits",
        "reference misses a limit",
    ),
}


@pytest.mark.parametrize("verdict", VERSION_1_REASONS)
def test_all_that_version_1_could_sign_can_still_be_said(kept: Earlier, verdict: str) -> None:
    """Every verdict with every reason and every warning of that version has its sentences."""
    document = closing.kept_verdict(kept.store, kept.leader, kept.study("Hours, signed"), 1)
    assert document is not None
    warnings = [{"code": code, "sentence": code, "values": said} for code, said in VERSION_1_WARNINGS.items()]
    for reason in VERSION_1_REASONS[verdict]:
        hours = document["hours"] if verdict == "stop" else None
        changed = {**document, "verdict": verdict, "reason": reason, "hours": hours, "warnings": warnings}
        read = signed.decision_from(changed)
        finding = hours_finding(read)
        assert finding.headline
        assert finding.lede
        assert len({warning_sentence(warning) for warning in read.warnings}) == len(VERSION_1_WARNINGS)


def test_an_older_seal_gives_nothing_for_a_lost_reference(kept: Earlier) -> None:
    """Nobody was asked, so nobody sealed that the next longest pull takes its place; its rule is read as it was."""
    study = planning.study(kept.store, kept.leader, kept.study("Hours, opened"))
    assert rule.rule_of(study.plan, 1).lost_reference == "none"
    assert not any("lost" in sentence for sentence in rule.sentences(study.plan, study.named))
    assert any("takes its place" in sentence for sentence in rule.sentences(replace(study.plan, lost_reference="next")))


# ---- signed ----------------------------------------------------------------------------------------------------------
def test_signing_keeps_the_version_of_the_rule(kept: Earlier) -> None:
    """A study of version 1 that nobody has signed is signed under the rule of today, and its document says so."""
    study = kept.study("Hours, opened")
    closing.sign(kept.store, kept.leader, study, "ran the test")
    document = closing.kept_verdict(kept.store, kept.leader, study, 1)
    assert document is not None
    assert document["rule_version"] == RULE_VERSION
    shown = deciding.shown(kept.store, kept.leader, study)
    assert (shown.rule_version, shown.sealed_version, shown.corrected) == (RULE_VERSION, 1, None)
    assert shown.decision == deciding.decision(kept.store, kept.leader, study)


@pytest.mark.parametrize(("title", "hours"), [("Hours, signed", 8.0), ("Hours, signed before a better hour", 4.0)])
def test_a_signed_verdict_is_shown_as_it_was_signed(kept: Earlier, title: str, hours: float) -> None:
    """The hour of the document, whatever today's rule makes of the scores; today's verdict is held beside it."""
    shown = deciding.shown(kept.store, kept.leader, kept.study(title))
    assert (shown.decision.verdict, shown.decision.hours) == ("stop", hours)
    assert (shown.rule_version, shown.sealed_version) == (1, 1)
    assert shown.corrected == deciding.decision(kept.store, kept.leader, kept.study(title))
    assert versions.departures(shown) == ()


def test_where_the_corrected_rule_says_otherwise_one_sentence_says_so(kept: Earlier) -> None:
    """At 8 h these scores stop; 4 h was signed."""
    study = signed_before(kept, "Hours, opened", "Hours, signed before a better hour")
    shown = deciding.shown(kept.store, kept.leader, study)
    said = versions.said_otherwise(shown)
    assert shown.decision.hours == 4.0
    assert "as it was signed, under version 1 of the stop rule" in said
    assert said.endswith("says: Stop at 8 hours.")
    assert said.count(". ") == 0


def test_version_2_takes_nothing_from_a_signed_stop_before_a_better_hour(kept: Earlier) -> None:
    """Acidity truly 7, 4.5, 2, 2, 3, 4.5: version 1 stopped at 4 h although 8 h is better by two margins and more."""
    shown = deciding.shown(kept.store, kept.leader, kept.study("Hours, signed before a better hour"))
    assert isinstance(shown.corrected, Decision)
    assert (shown.decision.hours, shown.corrected.verdict, shown.corrected.hours) == (4.0, "cannot tell", None)
    assert "the corrected rule of today says: Cannot tell" in versions.said_otherwise(shown)


def test_where_the_corrected_rule_agrees_nothing_is_said(kept: Earlier) -> None:
    """Another copy of the same scores, signed with the verdict they give."""
    study = signed_before(kept, "Hours, opened", "Hours, signed")
    assert versions.said_otherwise(deciding.shown(kept.store, kept.leader, study)) == ""


def test_a_signed_answer_ends_the_study_although_the_corrected_rule_cannot_tell(kept: Earlier) -> None:
    """No further look is served behind the back of a signature."""
    study = signed_before(kept, "Hours, cannot tell", "Hours, signed", people=1)
    assert deciding.decision(kept.store, kept.leader, study).verdict == "cannot tell"
    with pytest.raises(NotAllowed, match="gave an answer"):
        deciding.plan_next_sitting(kept.store, kept.leader, study)


# ---- sealed, not signed ----------------------------------------------------------------------------------------------
def test_an_unsigned_study_is_decided_by_the_corrected_rule_as_a_departure(kept: Earlier) -> None:
    """The sentence names both versions; after the signature it stands there still, for the seal is what it was."""
    study = kept.study("Hours, opened")
    shown = deciding.shown(kept.store, kept.leader, study)
    assert (shown.rule_version, shown.sealed_version, shown.corrected) == (RULE_VERSION, 1, None)
    (said,) = versions.departures(shown)
    assert "sealed under version 1 of the stop rule and decided by the corrected version 3" in said
    closing.sign(kept.store, kept.leader, study, "ran the test")
    assert versions.departures(deciding.shown(kept.store, kept.leader, study)) == (said,)


def test_a_study_sealed_today_departs_from_nothing(workshop: Any, hands: list[Any]) -> None:
    """Seal and verdict are of one version."""
    for number, hand in enumerate(hands):
        hand.taste_all(lambda place, line, n=number: (len(line) + 3 * place.number + n) % 10)
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")
    shown = deciding.shown(workshop.store, workshop.leader, workshop.study)
    assert (versions.departures(shown), versions.said_otherwise(shown)) == ((), "")


# ---- packages --------------------------------------------------------------------------------------------------------
def test_versions_travel(kept: Earlier, tmp_path: Path) -> None:
    """A seal of version 1 arrives as one, and a verdict of version 1 is shown there as it was signed."""
    there = open_store(str(tmp_path / "there.sqlite"))
    for title in ("Hours, opened", "Hours, signed before a better hour"):
        packages.take_out(kept.store, kept.study(title), tmp_path / title)
        packages.bring_in(there, tmp_path / title)
        arrived = deciding.shown(there, kept.leader, kept.study(title))
        assert arrived == deciding.shown(kept.store, kept.leader, kept.study(title))
        assert arrived.sealed_version == 1
    assert check(there.url).sound
    there.close()


def _changed(file: Path, change: Callable[[dict[str, str]], None]) -> None:
    """Change the only row of a table."""
    with file.open(newline="", encoding="utf-8") as read:
        table = csv.DictReader(read)
        names, (row,) = list(table.fieldnames or ()), list(table)
    change(row)
    with file.open("w", newline="", encoding="utf-8") as written:
        writer = csv.DictWriter(written, names, lineterminator="\r\n")
        writer.writeheader()
        writer.writerow(row)


def _sealed_later(row: dict[str, str]) -> None:
    plan = {**json.loads(row["plan"]), "rule_version": RULE_VERSION + 1}
    row["plan"], row["seal"] = json.dumps(plan), hashlib.sha256(rfc8785.dumps(plan)).hexdigest()


def _signed_later(row: dict[str, str]) -> None:
    row["document"] = json.dumps({**json.loads(row["document"]), "rule_version": RULE_VERSION + 1})


@pytest.mark.parametrize(
    ("file", "change", "sentence"),
    [
        ("study.csv", _sealed_later, "study.csv: version 4 of the stop rule is named.*up to version 3"),
        ("decision.csv", _signed_later, "decision.csv: version 4 of the stop rule is named"),
        ("decision.csv", lambda row: row.update(document="[1"), "decision.csv: a signed verdict cannot be read"),
        ("study.csv", lambda row: row.update(plan="[]", seal=""), "study.csv: the plan cannot be read"),
    ],
)
def test_a_rule_of_a_later_version_is_refused(
    kept: Earlier, tmp_path: Path, file: str, change: Callable[[dict[str, str]], None], sentence: str
) -> None:
    """Nothing of it is kept: this version could neither decide nor show it."""
    packages.take_out(kept.store, kept.study("Hours, signed"), tmp_path / "out")
    _changed(tmp_path / "out" / file, change)
    there = open_store(str(tmp_path / "there.sqlite"))
    with pytest.raises(BadInput, match=sentence):
        packages.bring_in(there, tmp_path / "out")
    assert check(there.url).events == 0
    there.close()
