"""What opening the key of an aroma study changes, and where a plan that may end early stands."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import acts, look
from studyapp.kinds.aroma import deciding
from studyapp.kinds.aroma.deciding import SequentialStanding, prospects
from studyapp.kinds.aroma.findings import verdicts
from studyapp.kinds.aroma.pages import verdict
from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy
from studyapp.pictures.theme import Theme
from studyapp.records import Staff
from studyapp.registry import Opening
from studyapp.store import Store
from studyapp.words import _, ngettext


def opening(plan: AromaPlan) -> Opening:
    """What becomes visible and what can no longer be done."""
    counted = (
        _("The plan ends here: no more sets are served, even if some are still planned.")
        if plan.sequential
        else _("No more answers can be given, and missing ones stay missing.")
    )
    return Opening(
        _("Opening joins the codes to the cups, and the verdict is worked out from the sealed rule."),
        (
            _("You see which cups held the plant, how many answers are right, and the verdict."),
            counted,
            _("The marks cannot change. They were sealed before the first answer."),
            _("The opening, its time and who opens it go into the record. A key opens once."),
        ),
    )


def hidden(plan: AromaPlan) -> str:
    """What nobody sees while the key is closed."""
    if plan.sequential:
        return _("Whose answer is right stays hidden until the key is opened; the count shows after complete rounds.")
    return _("Answers stay hidden, from you as well, until the key is opened.")


def still_open(left: int) -> str:
    """What is to be done before the key may open."""
    return ngettext(
        "{n} set is still open. Serve it, or close its sitting with a reason.",
        "{n} sets are still open. Serve them, or close their sittings with a reason.",
        left,
    ).format(n=left)


def still_wanted(store: Store, by: Staff, study: AromaStudy, left: int) -> int:
    """How many sets are still wanted before the key may open; a plan that has reached a line wants none."""
    if not study.plan.sequential:
        return left
    here = deciding.standing(store, by, study.id)
    if here.standing == "same":
        return here.control_left
    return left if here.standing == "go on" else 0


def lost(store: Store, by: Staff, study: AromaStudy) -> None:
    """Before the key opens: the marks that hold for fewer answers than were sealed, with the chances left to them."""
    found = prospects.left(study, deciding.answers_each(store, by, study.id))
    if found is None:
        return
    sealed, given = found
    said = _("{n} of {all} answers were given.").format(n=given.trials, all=sealed.trials)
    held = verdicts.marks_held(given, sealed)
    look.put(look.text(said), *(look.text(f"{fact.label}, {fact.note}") for fact in held))


def standing(store: Store, by: Staff, study: AromaStudy, theme: Theme) -> bool:
    """The lines of a plan that may end early, with complete rounds only; True when the plan has reached its end."""
    here = deciding.standing(store, by, study.id)
    if not here.served:
        look.put(look.quiet(_("What the rounds say shows here after the first complete round.")))
        return False
    rounds = ngettext("{n} complete round.", "{n} complete rounds.", here.served).format(n=here.served)
    same = (
        _("The round ended as close enough, if the control is found: serve the rest of its sets first.")
        if here.control_left
        else _("The round ended as close enough: open the key.")
    )
    told = {
        "go on": _("The plan asks for the next round."),
        "different": _("The round ended as detectable: open the key."),
        "same": same,
        "cannot tell": _("The plan has reached its end: open the key."),
    }[here.standing]
    look.put(look.text(_("{rounds} {told}").format(rounds=rounds, told=told)))
    _control_left(store, by, study, here)
    verdict.early(here, theme)
    return here.standing != "go on" and not (here.standing == "same" and here.control_left)


def _control_left(store: Store, by: Staff, study: AromaStudy, here: SequentialStanding) -> None:
    """Offers to close the count and to serve alone what is left of the control."""
    if not here.control_waits:
        return
    words = ngettext(
        "Close the count, serve the {n} control set left",
        "Close the count, serve the {n} control sets left",
        here.control_left,
    )
    if st.button(words.format(n=here.control_left), key="control-left"):
        with acts.refusals():
            deciding.serve_control(store, by, study.id)
            session.go("studies")  # where the new sitting is the next step
