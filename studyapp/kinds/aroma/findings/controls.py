"""The positive control in plain sentences: whether this panel found the cup that is known to differ."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact
from studyapp.findings.numbers import of_studies
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import ControlResult


def headlines() -> dict[str, str]:
    """The verdict where the control forbids "close enough", by reason."""
    return {
        "control not found": _("Cannot tell: the control was not found."),
        "no control": _("Cannot tell: no control was served."),
    }


def why(control: ControlResult | None) -> str:
    """Why nothing is called close enough; empty where the control does not forbid it."""
    if control is None or control.found:
        return ""
    if not control.trials:
        return _(
            "So few right would be close enough, but no cup that is known to differ was served: this panel may have "
            "noticed nothing that day."
        )
    said = _(
        "The cup that is known to differ was not found either, {k} of {n} right, found from {x}: a panel that misses "
        "it shows nothing of what it does not notice. Look for colds, tired people, or a weak control."
    )
    return said.format(k=control.correct, n=control.trials, x=_mark(control))


def none_close(control: ControlResult | None) -> str:
    """The mark of "close enough" where the control forbids one; empty where it does not."""
    if control is None or control.found:
        return ""
    return _("no “close enough”: no control") if not control.trials else _("no “close enough”: control not found")


def fact(control: ControlResult | None) -> tuple[Fact, ...]:
    """How the control came out; nothing where none is known of."""
    if control is None:
        return ()
    if not control.trials:
        return (Fact(_("Control"), _("none"), _("so nothing is called close enough")),)
    right = _("{k} of {n}").format(k=control.correct, n=control.trials)
    note = _("found: {x} or more") if control.found else _("not found: that takes {x} or more")
    return (Fact(_("Control"), right, note.format(x=_mark(control))),)


def rests_on(control: ControlResult | None) -> str:
    """What a claim of sameness rests on."""
    if control is None:
        return _("“Close enough” counts only if this panel also found a control known to differ.")
    return _("This panel found the control, known to differ, in {k} of {n} sets: so it tasted well enough.").format(
        k=control.correct, n=control.trials
    )


def not_served() -> str:
    """The caution beside a "close enough" without one."""
    return _(
        "No control, a cup known to differ, is told of: a panel that tastes nothing would be close enough as well."
    )


# ---- before anybody tastes -----------------------------------------------------------------------------------------
def planned(control: ControlResult, chance: float) -> Fact:
    """The mark and the chance of a control that is planned; of none, what follows."""
    if not control.trials:
        return Fact(_("Control"), _("none"), _("“close enough” cannot be said"))
    sets = ngettext("{n} set", "{n} sets", control.trials).format(n=control.trials)
    note = _("found from {x} right; in {found} if 8 of 10 are right")
    return Fact(_("Control"), sets, note.format(x=_mark(control), found=of_studies(round(chance, 2))))


def _mark(control: ControlResult) -> str:
    return _("none") if control.minimum_correct is None else str(control.minimum_correct)
