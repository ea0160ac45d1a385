"""Files of readings beside scores of hours, read with our own sentences."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.words import _

if TYPE_CHECKING:
    import pandas as pd

    from analysis.instruments import Gate


def read_readings(path: Path | str, gates: Mapping[str, Gate], pulls: Collection[float]) -> pd.DataFrame:
    """The readings of a file, which must fit the limits they are for. Raises BadInput: file, row, column, value, rule.

    Args:
        path: CSV, XLSX or Parquet.
        gates: limits by name.
        pulls: hours that were sealed or tasted.
    """
    import numpy as np

    from analysis import instruments
    from analysis.files import ScoreError, readings

    name = Path(path).name
    try:
        found = readings.read_readings(path)
        strange = sorted(set(found["hours"]) - set(pulls))
        if strange:
            told = _("{name}, column hours: {h:g} h is no pull of the scores, which have {pulls}.")
            every = ", ".join(f"{hour:g}" for hour in sorted(pulls))
            raise BadInput(told.format(name=name, h=strange[0], pulls=every))
        instruments.read_of(found, gates, np.array(sorted(pulls)))
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    except ValueError as problem:
        raise BadInput(_("{name}, {problem}.").format(name=name, problem=problem)) from problem
    return found
