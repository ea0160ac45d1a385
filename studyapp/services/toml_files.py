"""TOML files that people write by hand: read with an answer to every slip, each naming file, key, value and rule."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from studyapp.errors import BadInput
from studyapp.words import _

MOST_BYTES = 2**20
LARGEST = 1e6


def table(path: Path | str, text: str | None = None) -> dict[str, Any]:
    """The keys of a TOML file, or of `text`, which was read from it. Raises BadInput."""
    path = Path(path)
    name = plain(path.name)
    return _toml(name, _file_text(path, name) if text is None else text)


def _file_text(path: Path, name: str) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as problem:
        raise BadInput(_("{name}: the file cannot be read; check its name and folder.").format(name=name)) from problem
    if len(content) > MOST_BYTES:
        raise BadInput(_("{name}: the file is larger than 1 MB; a rule has a few lines.").format(name=name))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise BadInput(_("{name}: this is not a text in UTF-8; save it as UTF-8.").format(name=name)) from problem


def _toml(name: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as problem:
        found = re.search(r"line (\d+), column (\d+)", str(problem))
        line, column = found.groups() if found else (str(text.count("\n") + 1), "1")
        sentence = _("{name}, line {line}, column {column}: this is not TOML; write lines such as margin = 1.0.")
        raise BadInput(sentence.format(name=name, line=line, column=column)) from problem
    except (RecursionError, ValueError) as problem:
        raise BadInput(
            _("{name}: a value is too long or nested too deep; write plain keys.").format(name=name)
        ) from problem


def refuse_unknown(name: str, part: str, table: Mapping[str, Any], known: Sequence[str]) -> None:
    """Any other key is refused by name, with the nearest known one; `part` is "" or the name of an attribute."""
    for key in table:
        if key not in known:
            where = f"{name}, {plain(part)}" if part else name
            near = get_close_matches(key.casefold(), known, 1, 0.5)
            if near:
                raise BadInput(
                    _('{where}: there is no key "{key}"; is it {near}?').format(
                        where=where, key=plain(key), near=near[0]
                    )
                )
            sentence = _('{where}: there is no key "{key}"; known are {known}.')
            raise BadInput(sentence.format(where=where, key=plain(key), known=", ".join(known)))


def refuse(name: str, key: str, value: object, rule: str) -> BadInput:
    sentence = _("{name}, {key}: {value} {rule}")
    return BadInput(sentence.format(name=name, key=plain(key), value=shown(value), rule=rule))


def number(name: str, key: str, value: object) -> float:
    """A finite number; "1" in quotes is a text, and true is not 1."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if abs(value) <= LARGEST:
            return float(value)
        raise refuse(name, key, value, _("is not a number that a scale has; correct it."))
    raise refuse(name, key, value, _("is not a number; write it in digits, without quotes and without units."))


def whole(name: str, key: str, value: object, low: int, high: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise refuse(name, key, value, _("is not a whole number from {low} to {high}.").format(low=low, high=high))
    return value


def shown(value: object) -> str:
    """A value as it would stand in the file, on one short line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) > LARGEST:
        return "…"
    return f'"{plain(value)}"' if isinstance(value, str) else plain(value)


def plain(value: object, longest: int = 60) -> str:
    text = str(value)
    line = "".join(letter if letter.isprintable() else " " for letter in text[: longest + 1]).strip()
    return line if len(text) <= longest else f"{line[:longest]}…"
