"""What instruments read of the pulls of a batch: typed beside the instrument, pasted, or from a file.

An odd value is asked about and kept only when somebody says that the instrument showed it; nothing is ever filled in.
Every value is of a fresh portion; the same portion told anew stands for what was told of it before, and both are kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from studyapp.batches import BRANCHES, MOST_WORDS, UNITS, Batch, Curve, Reading, finite, shown_unit
from studyapp.errors import BadInput
from studyapp.records import Staff
from studyapp.services import names
from studyapp.services.access import require
from studyapp.services.batches import batch_or_refuse, writing_in
from studyapp.store import Store
from studyapp.store import batches as kept_batches
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import Question

MOST_PORTIONS, MOST_POINTS = 30, 60
LONGEST_HOURS = 1000.0
CURVE = "flow curve"
COLUMNS = ("hours", "quantity", "value", "portion", "instrument", "method", "shear_rate", "stress", "branch")


@dataclass(frozen=True, slots=True)
class Asked:
    """A question about one value: the reading or curve it belongs to, why it is odd, its number among the points."""

    of: Reading | Curve
    sentence: str
    at: int = 0


@dataclass(frozen=True, slots=True)
class Read:
    """Everything that stands of a batch."""

    values: tuple[Reading, ...]
    curves: tuple[Curve, ...]

    @property
    def hours(self) -> tuple[float, ...]:
        """The pulls that were read."""
        return tuple(sorted({*(one.hours for one in self.values), *(one.hours for one in self.curves)}))

    def used(self, quantity: str) -> tuple[str, str]:
        """Instrument and method last used for a quantity, or for flow curves; empty before the first."""
        ones: Sequence[Reading | Curve] = (
            self.curves if quantity == CURVE else [one for one in self.values if one.quantity == quantity]
        )
        return (ones[-1].instrument, ones[-1].method) if ones else ("", "")


def read(store: Store, by: Staff, batch_id: str) -> Read:
    """What stands of a batch."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        batch_or_refuse(tx, batch_id)
        return read_of(tx, batch_id)


def read_of(tx: Any, batch_id: str) -> Read:
    """The same within a transaction."""
    return Read(kept_batches.readings(tx, batch_id), kept_batches.curves(tx, batch_id))


# ---- write -----------------------------------------------------------------------------------------------------------
def keep(store: Store, by: Staff, batch_id: str, ones: Sequence[Reading | Curve]) -> None:
    """Keep readings and curves, all of them or none.

    Raises:
        BadInput: one of them is no reading of a pull; or it is odd and was not `asked` about.
        NotAllowed: somebody who tastes the study.
    """
    require(by, "leader", "preparer")
    ones = [_cleaned(one) for one in ones]
    with store.write() as tx:
        found = _writing(tx, by, batch_id)
        known = read_of(tx, batch_id)
        for one in ones:
            questions = odd(one, known)
            if questions and not one.asked:
                raise BadInput(_("Is this right? {sentence}").format(sentence=questions[0].sentence))
            _add(tx, found, replace(one, asked=bool(questions)), by)


def undo(store: Store, by: Staff, batch_id: str, one: Reading | Curve) -> None:
    """Take what was read of a portion out of force; it stays in the record."""
    require(by, "leader", "preparer")
    with store.write() as tx:
        _add(tx, _writing(tx, by, batch_id), replace(one, kind="undone"), by)


def _writing(tx: Any, by: Staff, batch_id: str) -> Batch:
    found = batch_or_refuse(tx, batch_id)
    if found.study is not None:
        writing_in(tx, by, found.study)
    return found


def _add(tx: Any, found: Batch, one: Reading | Curve, by: Staff) -> None:
    if isinstance(one, Curve):
        kept_batches.add_curve(tx, found, one, by.id)
    else:
        kept_batches.add_reading(tx, found, one, by.id)


def _cleaned(one: Reading | Curve) -> Reading | Curve:
    """With words in one spelling and the unit of its quantity. Raises BadInput."""
    instrument, method = names.clean(one.instrument), names.clean(one.method)
    if not instrument or max(len(instrument), len(method)) > MOST_WORDS:
        raise BadInput(_("Fix the instrument: write what the value was read with; it is asked once."))
    if not 0 <= one.hours <= LONGEST_HOURS or not 1 <= one.portion <= MOST_PORTIONS:
        raise BadInput(_("Fix the pull: its hours or the number of the portion cannot be."))
    if isinstance(one, Curve):
        return replace(_cleaned_curve(one), instrument=instrument, method=method)
    if one.quantity not in UNITS:
        raise BadInput(_("Fix the quantity: {name} is none that is kept here.").format(name=one.quantity))
    finite(one.value)
    named: dict[str, Any] = {"instrument": instrument, "method": method, "unit": UNITS[one.quantity]}
    return replace(one, hours=float(one.hours), value=float(one.value), **named)


def _cleaned_curve(one: Curve) -> Curve:
    points = tuple((float(rate), float(stress)) for rate, stress in one.points)
    rates = [rate for rate, _stress in points]
    if one.branch not in BRANCHES or not 1 <= len(points) <= MOST_POINTS or len(set(rates)) < len(rates):
        raise BadInput(_("Fix the flow curve: one stress for every shear rate, up, hold or down."))
    if any(not 0 < rate <= 1e5 or not abs(stress) <= 1e6 for rate, stress in points):
        raise BadInput(_("Fix the flow curve: a shear rate is above 0, and a stress is a number."))
    return replace(one, hours=float(one.hours), points=points)


# ---- odd values ------------------------------------------------------------------------------------------------------
def odd(one: Reading | Curve, known: Read) -> tuple[Asked, ...]:
    """What somebody should look at again while they stand beside the instrument."""
    from analysis.instruments import odd_curve, odd_values

    if isinstance(one, Curve):
        rates, stresses = zip(*one.points, strict=True)
        questions = odd_curve(rates, stresses) if one.branch != "hold" else []
        return tuple(Asked(one, _stress_says(one, question, known), question.at) for question in questions)
    return tuple(Asked(one, _value_says(one, question)) for question in odd_values(one.quantity, [one.value]))


def _value_says(one: Reading, question: Question) -> str:
    told = _("{value} {unit} cannot be: {other} {unit} is the end of what there is.")
    if question.code == "unusual":
        told = _("{value} {unit} is far from what is usual; the nearest usual value is {other} {unit}.")
    return told.format(value=f"{one.value:g}", other=f"{question.other:g}", unit=shown_unit(UNITS[one.quantity]))


def _stress_says(one: Curve, question: Question, known: Read) -> str:
    rate, stress = one.points[question.at]
    if question.code != "falls" or question.slower is None:
        return _("{stress} Pa at {rate} 1/s cannot be.").format(stress=f"{stress:g}", rate=f"{rate:g}")
    told = _(
        "{stress} Pa at {rate} 1/s is less than {other} at {slower} 1/s. Mass does not get easier to move when it "
        "moves faster."
    ).format(stress=f"{stress:g}", rate=f"{rate:g}", other=f"{question.other:g}", slower=f"{question.slower:g}")
    for other in known.curves:
        same = (other.hours, other.branch) == (one.hours, one.branch) and other.portion != one.portion
        if same and rate in dict(other.points):
            had = _("Portion {n} had {stress} here.").format(n=other.portion, stress=f"{dict(other.points)[rate]:g}")
            return f"{told} {had}"
    return told


# ---- from a file or pasted -------------------------------------------------------------------------------------------
def from_file(name: str, content: bytes) -> list[Reading | Curve]:
    """Readings and flow curves out of a table; see `analysis.files.readings_from` for its columns. Repeats that name no
    portion are portions in their order.

    Raises:
        BadInput: naming row and column, and what is to mend there.
    """
    import pandas as pd

    from analysis.files import ScoreError, readings_from

    try:
        frame = readings_from(name, content)
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    points = frame["shear_rate"].notna()
    values = frame[~points].copy()
    if "portion" not in values:
        values["portion"] = values.groupby(["hours", "quantity"], sort=False).cumcount() + 1
    told: list[Reading | Curve] = [_reading(row) for row in values.to_dict("records")]
    keys = [key for key in ("hours", "portion", "curve", "branch", "instrument", "method") if key in frame]
    groups = frame[points].groupby(keys, sort=False) if points.any() else ()  # empty texts are "", never missing
    curves = (_curve_of(pd.DataFrame(rows), dict(zip(keys, found, strict=True))) for found, rows in groups)
    return [*told, *curves]


def _reading(row: dict[Any, Any]) -> Reading:
    instrument, method = str(row.get("instrument", "")), str(row.get("method", ""))
    quantity = str(row["quantity"]).casefold()
    return Reading(
        float(row.get("hours", 0.0)), quantity, float(row["value"]), instrument, method, _portion(row["portion"])
    )


def _curve_of(rows: Any, found: dict[str, Any]) -> Curve:
    points = tuple(zip(rows["shear_rate"].astype(float), rows["stress"].astype(float), strict=True))
    portion = _portion(found.get("curve") or found.get("portion") or 1)
    told = (str(found.get("instrument", "")), str(found.get("method", "")))
    return Curve(float(found.get("hours", 0.0)), portion, str(found.get("branch") or "down"), points, *told)


def _portion(cell: Any) -> int:
    number = as_number(str(cell))
    if number is None or number != int(number):
        raise BadInput(_("Fix the portion: “{text}” is not a whole number.").format(text=str(cell)[:40]))
    return int(number)


def as_number(text: str) -> float | None:
    """A number as it is written in a cell, None where it is none."""
    try:
        found = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return found if abs(found) < 1e12 else None


def column(text: str) -> list[float | None]:
    """A pasted column: a number a line, None for an empty line. Raises BadInput for a line that is no number."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        value = as_number(line) if line.strip() else None
        if value is None and line.strip():
            raise BadInput(_("Fix line {n}: “{text}” is not a number.").format(n=number, text=line[:40]))
        found.append(value)
    return found
