"""What instruments read of the batches of a study, for its limits: no more than stood when the key was opened."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from studyapp.batches import Batch
from studyapp.kinds.hours.plan import KIND
from studyapp.records import Staff
from studyapp.services.access import require, study_or_refuse
from studyapp.services.closing import opened_look
from studyapp.store import Store, batches, openings

if TYPE_CHECKING:
    import pandas as pd

Row = dict[str, Any]


def readings(store: Store, by: Staff, study_id: str) -> pd.DataFrame | None:
    """The readings for the last opened look; None where no limit was sealed. Readings kept later, when flavour was
    known, belong to the next look.

    Raises:
        NotAllowed: no leader asks, or the key is not open.
    """
    import pandas as pd

    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        look = opened_look(tx, study)
        if not study.plan.limits:
            return None
        (at,) = (one.at for one in openings.of_study(tx, study_id) if one.look == look)
        named = study.plan.named_batches
        every = [one for one in batches.of_study(tx, study_id) if not named or one.draft.label in named]
        last = batches.kept_before(tx, study_id, look, at)
        rows = [row for one in every for row in _rows(tx, one, last, bool(named) or len(every) > 1)]
    columns = ["hours", "quantity", "value", "unit", "instrument", "method", "shear_rate", "stress", "branch", "curve"]
    return pd.DataFrame(rows, columns=[*columns, "batch"])


def _rows(tx: Any, batch: Batch, last: Mapping[tuple[str, str], int], named: bool) -> Iterator[Row]:
    own = {"batch": batch.draft.label if named else ""}
    for one in batches.readings(tx, batch.id, last.get(("reading", batch.id), 0)):
        told = {name: getattr(one, name) for name in ("hours", "quantity", "value", "unit", "instrument", "method")}
        yield {**own, **told}
    for curve in batches.curves(tx, batch.id, last.get(("flow_point", batch.id), 0)):
        if curve.branch != "hold":
            told = {name: getattr(curve, name) for name in ("hours", "branch", "instrument", "method")}
            for rate, stress in curve.points:
                yield {**own, **told, "curve": str(curve.portion), "shear_rate": rate, "stress": stress}
