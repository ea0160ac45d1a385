"""Stores that earlier versions wrote stay proven: their record, their seals, their verdicts, their running sittings."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import rfc8785

from studyapp.kinds.hours import deciding
from studyapp.records import Mark
from studyapp.services import closing, packages, planning, tasting, trying
from studyapp.services.checking import check
from studyapp.store import Store
from tests.stores import earlier, later
from tests.stores.earlier import Earlier


@pytest.fixture(params=["today", "later"])
def version(request: pytest.FixtureRequest) -> Iterator[Callable[[Store], Store]]:
    """What is done to a store beyond its migrations: nothing, or one column more in every table of the record."""
    if request.param == "today":
        yield lambda store: store
        return
    with later.one_column_more():
        yield later.widen


@pytest.fixture(params=earlier.NAMES)
def kept(request: pytest.FixtureRequest, version: Callable[[Store], Store], tmp_path: Path) -> Iterator[Earlier]:
    """Each earlier store in turn, copied and brought up to date, and once more as a later version will find it."""
    with earlier.opened(request.param, tmp_path, version) as found:
        yield found


def test_the_record_is_sound_and_still_holds_the_head_of_that_day(kept: Earlier) -> None:
    """What stood on a slip then is found now; the update itself has changed nothing that was recorded."""
    report = check(kept.store.url, kept.told["head"])
    assert [finding.sentence for finding in report.findings if finding.level == "error"] == []
    assert [finding.sentence.startswith("Kept: ") for finding in report.findings].count(True) == 1
    with kept.store.read() as tx:
        last = tx.exec_driver_sql("SELECT hash FROM event WHERE seq = ?", (kept.told["events"],)).scalar()
    assert last == kept.told["head"]


def test_every_seal_is_the_one_that_was_given(kept: Earlier) -> None:
    """The hash is that of the document as it was sealed: RFC 8785 (https://www.rfc-editor.org/rfc/rfc8785), SHA-256."""
    stood = kept.told["studies"]
    assert {study["state"] for study in stood} == {"draft", "sealed", "opened", "decided"}
    for study in stood:
        now = planning.study(kept.store, kept.leader, study["id"])
        assert (now.kind, now.state, now.seal, now.sealed_at) == tuple(
            study[name] for name in ("kind", "state", "seal", "sealed_at")
        )
        with kept.store.read() as tx:
            document = tx.exec_driver_sql("SELECT plan FROM study WHERE id = ?", (study["id"],)).scalar()
        assert study["seal"] in (None, hashlib.sha256(rfc8785.dumps(json.loads(str(document)))).hexdigest())


def test_every_signed_verdict_is_the_one_that_was_signed(kept: Earlier) -> None:
    """Word for word and number for number, of every kind of that day; where nobody has signed there is none."""
    stood = kept.told["studies"]
    assert {study["kind"] for study in stood if study["verdict"]} == {study["kind"] for study in stood}
    for study in stood:
        assert closing.kept_verdict(kept.store, kept.leader, study["id"], 1) == study["verdict"]


def test_a_running_sitting_goes_on(kept: Earlier) -> None:
    """The phones that were joined before the update save a mark and a choice after it."""
    for study, token in kept.told["phones"].items():
        here = tasting.place(kept.store, token)
        nonce = secrets.token_hex(12)
        if here.kind == "trial":
            saved = trying.keep_choice(kept.store, token, str(here.trial), here.cups[-here.pick :], False, nonce)
        else:
            assert here.kind == "serving"
            saved = tasting.keep_mark(kept.store, token, Mark(str(here.serving), here.lines[0].id, 3.3, nonce))
        assert not saved.again
        after = tasting.place(kept.store, token)
        assert (after.trial, after.number) != (here.trial, here.number) or after.lines[0].value == 3.3
        assert planning.study(kept.store, kept.leader, study).state == "sealed"
    assert len(kept.told["phones"]) == 2
    assert check(kept.store.url, kept.told["head"]).sound


def test_a_study_that_could_not_tell_is_looked_at_again(kept: Earlier) -> None:
    """The look that was sealed and left is still there to be planned."""
    study = kept.study("Hours, cannot tell")
    assert [sitting.number for sitting in deciding.plan_next_sitting(kept.store, kept.leader, study)] == [3]
    assert check(kept.store.url, kept.told["head"]).sound


def test_its_studies_travel(kept: Earlier, tmp_path: Path) -> None:
    """Out, into a new store and out again: the same bytes; seal and signed verdict arrive with them."""
    there = kept.beside(tmp_path / "there.sqlite")
    for study in kept.told["studies"]:
        if study["state"] == "sealed":  # the tables would give the key away
            continue
        first = packages.take_out(kept.store, study["id"], tmp_path / "first" / study["id"])
        packages.bring_in(there, tmp_path / "first" / study["id"])
        second = packages.take_out(there, study["id"], tmp_path / "second" / study["id"])
        assert [one.read_bytes() for one in first] == [one.read_bytes() for one in second]
        arrived = planning.study(there, kept.leader, study["id"])
        assert (arrived.seal, arrived.state) == (study["seal"], study["state"])
        assert closing.kept_verdict(there, kept.leader, study["id"], 1) == study["verdict"]
    there.close()
    assert check(str(tmp_path / "there.sqlite")).sound
