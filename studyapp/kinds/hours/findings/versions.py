"""What it means for a reader that a rule was corrected after a seal or a signature."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.kinds.hours.findings.verdict import hours_finding
from studyapp.words import _

if TYPE_CHECKING:
    from studyapp.kinds.hours.deciding import Shown


def said_otherwise(shown: Shown) -> str:
    """Beside a signed verdict: what the corrected rule says on the same scores; empty where it says the same."""
    if shown.corrected is None:
        return ""
    now = shown.corrected if isinstance(shown.corrected, str) else hours_finding(shown.corrected).headline
    if now == hours_finding(shown.decision).headline:
        return ""
    return _(
        "This answer stands as it was signed, under version {n} of the stop rule; "
        "on the same scores the corrected rule of today says: {headline}"
    ).format(n=shown.rule_version, headline=now)


def departures(shown: Shown) -> tuple[str, ...]:
    """That a verdict comes from another version of the rule than the sealed one; nothing where it is the same."""
    if shown.rule_version == shown.sealed_version:
        return ()
    return (
        _(
            "The study was sealed under version {sealed} of the stop rule and decided by the corrected version {n}: "
            "margins, limits and openings are as sealed, but the answer can differ from what version {sealed} would "
            "have said, mostly by claiming less."
        ).format(sealed=shown.sealed_version, n=shown.rule_version),
    )
