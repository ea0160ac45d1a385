"""`[gates.NAME]` of RULE.toml, read with our own sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.services import toml_files
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import Gate

MOST_GATES = 20
TEXTS = ("quantity", "unit", "instrument", "method")
NUMBERS = ("at_most", "at_least", "uncertainty", "until", "sd", "df")
FLAGS = ("log", "monotone")
GATE_KEYS = (*TEXTS, *NUMBERS, *FLAGS, "repeats")


def read_gates(name: str, value: object) -> dict[str, Gate]:
    """The limits of instruments in a rule file, by their names. Raises BadInput: file, key, value, rule."""
    if value is None:
        return {}
    if not isinstance(value, dict) or len(value) > MOST_GATES:
        mend = _("is not up to {n} tables; write [gates.viscosity] with at_most = 4.0 below it.").format(n=MOST_GATES)
        raise toml_files.refuse(name, "gates", value, mend)
    return {gate: _gate(name, gate, own) for gate, own in value.items()}


def _gate(name: str, gate: str, value: object) -> Gate:
    from analysis.instruments import Gate, check_gates
    from analysis.instruments.gates import turning

    key = f"gates.{gate}"
    if not isinstance(value, dict):
        raise toml_files.refuse(name, key, value, _("is not a table; write at_most = 4.0 below [gates.viscosity]."))
    toml_files.refuse_unknown(name, key, value, GATE_KEYS)
    texts = {part: _text(name, f"{key}.{part}", value[part]) for part in TEXTS if part in value}
    numbers = {part: toml_files.number(name, f"{key}.{part}", value[part]) for part in NUMBERS if part in value}
    flags = {part: _flag(name, f"{key}.{part}", value[part]) for part in FLAGS if part in value}
    quantity = texts.pop("quantity", gate)
    given: dict[str, Any] = {"log": turning(quantity), **texts, **numbers, **flags}
    if "repeats" in value:
        given["repeats"] = toml_files.whole(name, f"{key}.repeats", value["repeats"], 1, 100)
    found = Gate(quantity=quantity, **given)
    try:
        check_gates({gate: found})
    except ValueError as problem:
        raise BadInput(_("{name}, {problem}.").format(name=name, problem=problem)) from problem
    return found


def _text(name: str, key: str, value: object) -> str:
    if isinstance(value, str) and value.strip():
        return value.strip()
    raise toml_files.refuse(name, key, value, _("is not a text; write it in quotes."))


def _flag(name: str, key: str, value: object) -> bool:
    if isinstance(value, bool):
        return value
    raise toml_files.refuse(name, key, value, _("is neither true nor false."))
