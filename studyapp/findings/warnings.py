"""The sentence of every warning that the stop rule can raise."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from studyapp.findings.numbers import opening
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Warning as StopWarning

Values = Mapping[str, Any]


def warning_sentence(warning: StopWarning) -> str:
    """The sentence of one warning.

    Raises:
        ValueError: there is no sentence for this code; a warning must never vanish unread.
    """
    writer = _WRITERS.get(warning.code)
    if writer is None:
        raise ValueError(f"no sentence for the warning {warning.code!r}")
    return writer(warning.values)


def warning_codes() -> frozenset[str]:
    """All codes that have a sentence."""
    return frozenset(_WRITERS)


# ---- too little to go on -----------------------------------------------------------------------------------------
def _all_equal(values: Values) -> str:
    return _("{name}: everyone gave the same score everywhere, so it tells nothing.").format(
        name=opening(str(values["attribute"]))
    )


def _too_few_assessors(values: Values) -> str:
    return ngettext(
        "{name}: only {n} assessor has scores, and at least 5 are needed.",
        "{name}: only {n} assessors have scores, and at least 5 are needed.",
        int(values["assessors"]),
    ).format(name=opening(str(values["attribute"])), n=values["assessors"])


_WRITERS: dict[str, Callable[[Values], str]] = {
    "all scores equal": _all_equal,
    "too few assessors": _too_few_assessors,
}
