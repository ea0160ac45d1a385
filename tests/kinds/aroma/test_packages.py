"""An aroma study taken out as tables and brought in again is the same study, byte for byte, with the same verdict."""

from __future__ import annotations

from pathlib import Path

import pytest

from studyapp.errors import NotAllowed
from studyapp.kinds.aroma import deciding
from studyapp.services import accounts, closing, packages
from studyapp.services.checking import check
from studyapp.store import open_store
from tests.kinds.aroma.aroma_kitchen import furnish_aroma


def test_an_aroma_study_travels_whole(tmp_path: Path) -> None:
    """Not before its key is open, for the tables hold the key."""
    store = open_store(str(tmp_path / "here.sqlite"))
    kitchen = furnish_aroma(store)
    with pytest.raises(NotAllowed, match="not open"):
        packages.take_out(store, kitchen.study, tmp_path / "early")
    kitchen.taste_all(lambda name, _level, number: (len(name) + number) % 2 == 0)
    closing.open_key(store, kitchen.leader, kitchen.study, "Ada")
    first = packages.take_out(store, kitchen.study, tmp_path / "first")
    there = open_store(str(tmp_path / "there.sqlite"))
    packages.bring_in(there, tmp_path / "first")
    second = packages.take_out(there, kitchen.study, tmp_path / "second")
    assert [one.read_bytes() for one in first] == [one.read_bytes() for one in second]
    assert check(there.url).sound
    leader = accounts.first_leader(there, "Zoe", "another long passphrase")
    told = deciding.verdict(there, leader, kitchen.study)
    assert told == deciding.verdict(store, kitchen.leader, kitchen.study)
    store.close()
    there.close()
