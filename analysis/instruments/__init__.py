"""What do instruments say of a mass? Flow curves, limits with a guard, butter saved, surface; no verdict yet.

`flow` fits Casson's line, reads stress at 5 and viscosity at 40 1/s off a curve and says where a line does not fit.
`gates` holds a quantity against a limit: a pull passes when its mean keeps the limit by more than its own uncertainty,
is shown to fail when it breaks it by as much, and is open between, or where too little was read. `readings` goes from a
table of repeats to these answers, pull by pull and batch by batch. `butter` says what hours in the conche are worth in
cocoa butter, from a ladder read on the same day. `plausible` asks about values that an instrument can hardly have
shown. How limits join flavour in one verdict is the business of `stopping`.

>>> import pandas as pd
>>> read = {0: (1.62, 1.55), 8: (1.07, 1.02), 16: (0.93, 0.98), 24: (0.82, 0.78)}
>>> rows = [(h, "moisture", value) for h, values in read.items() for value in values]
>>> table = pd.DataFrame(rows, columns=["hours", "quantity", "value"])
>>> found, = judge_gates(table, {"dry": Gate(quantity="moisture", unit="%", at_most=1.0)}, list(read), level=0.05)
>>> [pull.answer for pull in found.pulls]
['fails', 'open', 'open', 'passes']
"""

from analysis.instruments.butter import ButterWorth, butter_worth, ladder_curve
from analysis.instruments.flow import Casson, Interval, casson, gap, over_portions, read_off, stress_at, viscosity_at
from analysis.instruments.gates import (
    Gate,
    GateLevels,
    GateLimits,
    Repeats,
    Spread,
    answered,
    chances,
    check_gates,
    settling,
)
from analysis.instruments.plausible import Question, odd_curve, odd_values
from analysis.instruments.readings import (
    GatePull,
    GateResult,
    Read,
    batches_of,
    judge_gates,
    read_of,
    result_of,
    values_of,
)
from analysis.instruments.surface import sauter_mean, surface

__all__ = [
    "ButterWorth",
    "Casson",
    "Gate",
    "GateLevels",
    "GateLimits",
    "GatePull",
    "GateResult",
    "Interval",
    "Question",
    "Read",
    "Repeats",
    "Spread",
    "answered",
    "batches_of",
    "butter_worth",
    "casson",
    "chances",
    "check_gates",
    "gap",
    "judge_gates",
    "ladder_curve",
    "odd_curve",
    "odd_values",
    "over_portions",
    "read_of",
    "read_off",
    "result_of",
    "sauter_mean",
    "settling",
    "stress_at",
    "surface",
    "values_of",
    "viscosity_at",
]
