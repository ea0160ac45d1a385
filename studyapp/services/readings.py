"""What instruments read of the pulls of a batch: typed beside the instrument, pasted, or from a file.

An odd value is asked about and kept only when somebody says that the instrument showed it; nothing is ever filled in.
Every value is of a fresh portion; the same portion told anew stands for what was told of it before, and both are kept.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from studyapp.batches import BRANCHES, MOST_WORDS, UNITS, Batch, Curve, Reading, finite
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

MOST_PORTIONS, MOST_ROWS, MOST_POINTS = 30, 2000, 60
LONGEST_HOURS = 1000.0
CURVE = "flow curve"
COLUMNS = ("hours", "quantity", "value", "portion", "instrument", "method", "shear_rate", "stress", "branch")


@dataclass(frozen=True, slots=True)
class Asked:
    """A question about one value: the reading or curve it belongs to, and why it is odd."""

    of: Reading | Curve
    sentence: str


@dataclass(frozen=True, slots=True)
class Read:
    """Everything that stands of a batch."""

    values: tuple[Reading, ...]
    curves: tuple[Curve, ...]

    @property
    def hours(self) -> tuple[float, ...]:
        """The pulls that were read."""
        return tuple(sorted({one.hours for one in (*self.values, *self.curves)}))

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
    named = {"instrument": instrument, "method": method, "unit": UNITS[one.quantity]}
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
        return tuple(Asked(one, _stress_says(one, question, known)) for question in questions)
    return tuple(Asked(one, _value_says(one, question)) for question in odd_values(one.quantity, [one.value]))


def _value_says(one: Reading, question: Question) -> str:
    told = _("{value} {unit} cannot be: {other} {unit} is the end of what there is.")
    if question.code == "unusual":
        told = _("{value} {unit} is far from what is usual; the nearest usual value is {other} {unit}.")
    return told.format(value=f"{one.value:g}", other=f"{question.other:g}", unit=one.unit or UNITS[one.quantity])


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
def from_text(text: str) -> list[Reading | Curve]:
    """Readings and flow curves out of a table with a head line; cells by comma, semicolon or tab.

    Columns: hours, quantity, value and, where wanted, portion, instrument, method; for a point of a flow curve
    shear_rate (1/s), stress (Pa) and branch in place of quantity and value.

    Raises:
        BadInput: naming the line and what is to mend there.
    """
    lines = text.lstrip("\ufeff").splitlines()
    if not lines or len(lines) > MOST_ROWS:
        raise BadInput(_("Fix the table: it has no line, or more than {n}.").format(n=MOST_ROWS))
    delimiter = max("\t;,", key=lines[0].count)
    rows = csv.DictReader(io.StringIO("\n".join(lines)), delimiter=delimiter, skipinitialspace=True)
    unknown = [name for name in rows.fieldnames or () if name.strip() not in COLUMNS]
    if unknown or "hours" not in (rows.fieldnames or ()):
        raise BadInput(_("Fix the head line: its columns are {names}.").format(names=", ".join(COLUMNS)))
    found: list[Reading | Curve] = []
    points: dict[tuple[float, int, str, str, str], list[tuple[float, float]]] = {}
    for number, row in enumerate(rows, start=2):
        cells = {(name or "").strip(): (cell or "").strip() for name, cell in row.items() if isinstance(cell, str)}
        if cells.get("shear_rate"):
            told = _common(cells, number)
            key = (*told[:2], cells.get("branch") or "down", *told[2:])
            points.setdefault(key, []).append((_number(cells, "shear_rate", number), _number(cells, "stress", number)))
        elif any(cells.values()):
            hours, portion, instrument, method = _common(cells, number)
            quantity = cells.get("quantity", "")
            value = _number(cells, "value", number)
            found.append(Reading(hours, quantity, value, instrument, method, portion))
    return [*found, *_curves(points)]


def _curves(points: dict[tuple[float, int, str, str, str], list[tuple[float, float]]]) -> Iterable[Curve]:
    for (hours, portion, branch, instrument, method), told in points.items():
        yield Curve(hours, portion, branch, tuple(told), instrument, method)


def _common(cells: dict[str, str], line: int) -> tuple[float, int, str, str]:
    portion = int(_number({"portion": cells.get("portion") or "1"}, "portion", line))
    return _number(cells, "hours", line), portion, cells.get("instrument", ""), cells.get("method", "")


def _number(cells: dict[str, str], name: str, line: int) -> float:
    """A cell as a number, with a point or a comma. Raises BadInput, naming its line."""
    text = cells.get(name, "")
    found = as_number(text)
    if found is None:
        raise BadInput(_("Fix line {n}: “{text}” is not a number.").format(n=line, text=text[:40]))
    return found


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
