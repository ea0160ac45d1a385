"""RULE.toml of a comparison, read with an answer to every slip."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.kinds.comparison.plan import Likewise
from studyapp.services import toml_files
from studyapp.services.gate_files import read_gates
from studyapp.wishes import WISHES
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.comparing import MakeClaim, MakeRule, Pull

KEYS = (
    "reference", "control", "claim", "pairs", "faster", "alpha", "looks", "look", "adjust", "attributes", "tolerances",
    "gates", "pulls",
)  # fmt: skip
ATTRIBUTE_KEYS = ("wanted", "margin", "claim", "limit")
TOLERANCE_KEYS = ("tolerance", "unit", "readings")
CLAIMS = ("no worse", "same", "better")
SCOPES = ("these batches", "make")
# What a file calls the makes, the statistics call by the pieces of a study of hours.
ADJUST = {"position": "position", "sitting": "sitting", "sitting:make": "sitting:hours"}


@dataclass(frozen=True, slots=True)
class FileRule:
    """A rule with what should be alike; `readings` of each quantity by make."""

    rule: MakeRule
    alike: tuple[Likewise, ...]
    readings: dict[str, dict[str, tuple[float, ...]]]


def read_rule(path: Path | str) -> FileRule:
    """The rule in a TOML file. Raises BadInput: file, key, value, rule."""
    from analysis.comparing import MakeRule, check_make_rule

    path = Path(path)
    name, table = toml_files.plain(path.name), toml_files.table(path)
    toml_files.refuse_unknown(name, "", table, KEYS)
    looks = toml_files.whole(name, "looks", table.get("looks", 1), 1, 4)
    rule = MakeRule(
        reference=_text(name, "reference", table.get("reference")),
        attributes=_attributes(name, table.get("attributes")),
        control=_text(name, "control", table["control"]) if "control" in table else None,
        claim=_one_of(name, "claim", table.get("claim", SCOPES[0]), SCOPES),
        pairs=_yes(name, "pairs", table.get("pairs", True)),
        faster=_text(name, "faster", table["faster"]) if "faster" in table else None,
        alpha=toml_files.number(name, "alpha", table.get("alpha", 0.05)),
        looks=looks,
        look=toml_files.whole(name, "look", table.get("look", 1), 1, looks),
        adjust=_adjust(name, table.get("adjust", [])),
        gates=read_gates(name, table.get("gates")),
        pulls=_pulls(name, table.get("pulls", {})),
    )
    try:
        check_make_rule(rule)
    except ValueError as wrong:
        raise BadInput(f"{name}, {str(wrong).replace('sitting:hours', 'sitting:make')}.") from wrong
    return FileRule(rule, *_tolerances(name, table.get("tolerances", {})))


def _attributes(name: str, value: object) -> dict[str, MakeClaim]:
    if not isinstance(value, dict) or not value:
        sentence = _('{name}: no attribute decides; add [attributes.acidity] with wanted = "lower" and margin = 1.0.')
        raise BadInput(sentence.format(name=name))
    return {attribute: _attribute(name, attribute, one) for attribute, one in value.items()}


def _attribute(name: str, attribute: str, value: object) -> MakeClaim:
    from analysis.comparing import MakeClaim

    table = _table(name, f"attributes.{attribute}", value)
    toml_files.refuse_unknown(name, attribute, table, ATTRIBUTE_KEYS)
    for key in ("wanted", "margin"):
        if key not in table:
            sentence = _("{name}, {attribute}: there is no {key}; every deciding attribute needs it.")
            raise BadInput(sentence.format(name=name, attribute=toml_files.plain(attribute), key=key))
    return MakeClaim(
        _one_of(name, f"{attribute}.wanted", table["wanted"], tuple(WISHES)),
        toml_files.number(name, f"{attribute}.margin", table["margin"]),
        _one_of(name, f"{attribute}.claim", table.get("claim", CLAIMS[0]), CLAIMS),
        toml_files.number(name, f"{attribute}.limit", table["limit"]) if "limit" in table else None,
    )


def _pulls(name: str, value: object) -> dict[str, Pull]:
    """The hours after which each of two makes was tasted, as pieces."""
    from analysis.comparing import Pull
    from analysis.comparing.reading import pulled

    return {
        pulled(make, hours): Pull(make, hours)
        for make, own in _table(name, "pulls", value).items()
        for hours in _numbers(name, f"pulls.{make}", own)
    }


def _tolerances(name: str, value: object) -> tuple[tuple[Likewise, ...], dict[str, dict[str, tuple[float, ...]]]]:
    alike, readings = [], {}
    for what, one in _table(name, "tolerances", value).items():
        table = _table(name, f"tolerances.{what}", one)
        toml_files.refuse_unknown(name, what, table, TOLERANCE_KEYS)
        tolerance = toml_files.number(name, f"{what}.tolerance", table.get("tolerance"))
        if tolerance <= 0:
            mend = _("is not above 0; give the largest difference that counts as alike.")
            raise toml_files.refuse(name, f"{what}.tolerance", tolerance, mend)
        alike.append(Likewise(what, toml_files.plain(table.get("unit", "")), tolerance))
        own = _table(name, f"{what}.readings", table.get("readings", {}))
        readings[what] = {make: _numbers(name, f"{what}.readings.{make}", read) for make, read in own.items()}
    return tuple(alike), readings


def _table(name: str, key: str, value: object) -> dict[str, Any]:
    if isinstance(value, dict):
        return value
    raise toml_files.refuse(name, key, value, _("is not a table; write [{key}] and its keys below it.").format(key=key))


def _numbers(name: str, key: str, value: object) -> tuple[float, ...]:
    if not isinstance(value, list):
        raise toml_files.refuse(name, key, value, _("is not a list of numbers; write [30.1, 29.9, 30.0]."))
    return tuple(toml_files.number(name, key, one) for one in value)


def _text(name: str, key: str, value: object) -> str:
    if isinstance(value, str) and value.strip():
        return value.strip()
    raise toml_files.refuse(name, key, value, _("is not a name; write it in quotes, as it stands in the scores."))


def _yes(name: str, key: str, value: object) -> bool:
    if isinstance(value, bool):
        return value
    raise toml_files.refuse(name, key, value, _("is neither true nor false."))


def _one_of(name: str, key: str, value: object, known: tuple[str, ...]) -> Any:
    if isinstance(value, str) and value in known:
        return value
    raise toml_files.refuse(name, key, value, _("is not known; known are {all}.").format(all=", ".join(known)))


def _adjust(name: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise toml_files.refuse(name, "adjust", value, _('is not a list of texts; write adjust = ["position"].'))
    return tuple(ADJUST[_one_of(name, "adjust", one, tuple(ADJUST))] for one in value)
