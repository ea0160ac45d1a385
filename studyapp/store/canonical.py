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
    if type(key) is str and key.isascii():
        return key
    raise _OddError
