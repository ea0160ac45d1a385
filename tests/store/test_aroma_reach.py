"""A page of an aroma study costs the same with ten or ten thousand studies in the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from studyapp.kinds.aroma import deciding
from studyapp.services import closing, planning, preparing, tasting, watching
from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import Kitchen, Taster, furnish_aroma
from tests.store.test_reach import walked


@pytest.fixture
def kitchen(tmp_path: Path) -> Iterator[Kitchen]:
    """A sealed triangle study."""
    store, made = furnished(tmp_path / "studies.sqlite", furnish_aroma)
    yield made
    store.close()


def _chosen(taster: Taster) -> object:
    here = taster.place()
    return taster.choose(here, (here.cups[0],))


ACTS: dict[str, Callable[[Kitchen, Taster, Any], object]] = {
    "an assessor's page": lambda _k, t, _s: t.place(),
    "a choice": lambda _k, t, _s: _chosen(t),
    "leaving": lambda k, t, _s: tasting.leave(k.store, t.token, False),
    "a study": lambda k, _t, _s: planning.study(k.store, k.leader, k.study),
    "trays": lambda k, _t, s: preparing.trays(k.store, k.preparer, s.id),
    "the key": lambda k, _t, s: preparing.fill_rows(k.store, k.preparer, s.id),
    "quantities": lambda k, _t, _s: preparing.quantities(k.store, k.preparer, k.study),
    "the watch page": lambda k, _t, s: watching.progress(k.store, k.leader, s.id),
    "closing": lambda k, _t, s: watching.close_sitting(k.store, k.leader, s.id, "late"),
}


@pytest.mark.parametrize("name", ACTS)
def test_a_page_of_sets_reads_by_index_only(kitchen: Kitchen, name: str) -> None:
    """Statements are caught on their way and explained by the database."""
    sitting = kitchen.sittings()[0]
    taster = kitchen.serve(sitting)[0]
    _chosen(taster)
    assert walked(kitchen.store, lambda: ACTS[name](kitchen, taster, sitting)) == []


def test_the_verdict_reads_its_own_sets_only(kitchen: Kitchen) -> None:
    """Answers of other studies are not walked."""
    kitchen.taste_all(lambda _name, _level, number: number == 1)

    def open_and_read() -> None:
        closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
        deciding.verdict(kitchen.store, kitchen.leader, kitchen.study)

    assert walked(kitchen.store, open_and_read) == []
