"""Canonical JSON (RFC 8785), fast for what the record mostly holds.

The encoder of the standard library writes the same text for words, whole numbers, yes, no and nothing under plain keys;
a number with a fraction is written as the shortest that reads back, by both, between the bounds at which either changes
to powers of ten. Everything else is left to `rfc8785`.
"""

from __future__ import annotations

import json
from typing import Any

import rfc8785

EXACT = 2**53  # up to here a number of JavaScript is the number that is written (RFC 8785, section 3.2.2.3)
LEAST = 1e-4  # below, Python writes powers of ten; JavaScript does from 1e-6 on
_encode = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode


class _OddError(Exception):
    """Something for the slow way."""


def dumps(value: Any) -> bytes:
    """The canonical text of `value`.

    Raises:
        ValueError, TypeError: it has none.
    """
    try:
        return _encode(_plain(value)).encode()
    except (_OddError, UnicodeEncodeError, RecursionError):
        return rfc8785.dumps(value)


def _plain(value: Any) -> Any:
    """The same, where the fast encoder writes it as the standard asks."""
    kind = type(value)
    if kind is str or value is None or kind is bool:
        return value
    if kind is int and -EXACT < value < EXACT:
        return value
    if kind is float and (value == 0 or LEAST <= abs(value) < EXACT):
        return int(value) if value.is_integer() else value
    if kind is dict:
        return {_key(key): _plain(each) for key, each in value.items()}
    if kind in (list, tuple):
        return [_plain(each) for each in value]
    raise _OddError


def _key(key: Any) -> str:
    """Keys sort by UTF-16 units; of plain letters all orders are one."""
    if isinstance(key, str) and key.isascii():
        return key
    raise _OddError


# ---- read back -------------------------------------------------------------------------------------------------------
def loads(text: str) -> Any:
    """The value of a text.

    Raises:
        ValueError, TypeError, RecursionError: it is no JSON, or not the canonical one.
    """
    try:
        value = _decode(text)
        if text.isascii() and _encode(value) == text:
            return value
    except _OddError:
        pass
    value = json.loads(text)
    if dumps(value).decode() != text:
        raise ValueError
    return value


def _fraction(_text: str) -> float:
    """Numbers with a fraction go the slow way: 24.0 reads back as it is and is not canonical."""
    raise _OddError


_decode = json.JSONDecoder(parse_float=_fraction).decode


def quoted(value: str | None) -> str:
    """The canonical text of a word, or of nothing."""
    return _encode(value)
