"""Every cell of a batch is proven: what is fixed by its cover, what moves on with the work by the events read again."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.store import checks, covers, state_checks
from studyapp.store.checks import Fault
from tests.reliability.test_columns_of_covers import OF_BATCHES, faults, fixed, forging, unnoticed
from tests.services.test_batches import furnish

pytestmark = pytest.mark.reliability


def test_a_forged_cell_of_a_batch_is_found(workshop: Any) -> None:
    """Each column of each of its tables, one by one."""
    batch = furnish(workshop)
    with forging(workshop.store) as tx:
        assert faults(tx) == []
        assert {table: unnoticed(tx, table, fixed(table)) for table in OF_BATCHES} == {key: [] for key in OF_BATCHES}
        told = checks.chain(tx).sound
        assert state_checks.state_faults(tx, told).faults == ()
        for name in sorted(covers.MOVING["batch"] - {"study_id"}):
            change = tx.begin_nested()
            tx.exec_driver_sql(f"UPDATE batch SET {name} = 7")
            assert Fault("changed cell", "batch", batch, name) in state_checks.state_faults(tx, told).faults
            change.rollback()
