"""The seal of a plan: the rule read once more as sentences, then closed for good; and the plan after it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Literal

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.moments import clock
from studyapp.records import Problem, SealSlip, Study
from studyapp.words import _, ngettext


def card(key: str, blocking: Sequence[Problem], *, ready: bool) -> bool:
    """What sealing means, what must be mended first, and the button; True when it was tapped. Once a plan is `ready`
    it is the main one of the page."""
    with st.container(key="card-seal"):
        look.put(look.title(_("Seal the rule"), 2), look.text(_about()))
        if blocking:
            first = ngettext("{n} thing to mend first:", "{n} things to mend first:", len(blocking))
            look.put(
                look.text(first.format(n=len(blocking)), "problem brick"),
                look.bullets(problem.sentence for problem in blocking),
            )
        kind: Literal["primary", "secondary"] = "primary" if ready else "secondary"
        return st.button(_("Seal and make codes"), type=kind, width="stretch", key=f"seal-{key}")


def _about() -> str:
    return _("After this nobody changes question, margins, limits or error rate, and only then can scores be given.")


def dialog(
    study: Study[Any], rule: Sequence[str], seal: Callable[[str], SealSlip], caution: str = ""
) -> SealSlip | None:
    """The rule as sentences and the name typed once more, which `seal` is given; the slip once it is sealed."""
    look.put(look.bullets(rule))
    if caution:
        look.put(look.caution(caution))
    look.put(look.text(_("Type the name of the study to seal it: {title}").format(title=study.plan.title)))
    typed = st.text_input(_("Name of the study"), key=f"typed-{study.id}")
    slip = None
    if st.button(_("Seal the rule"), type="primary", key=f"seal-now-{study.id}"):
        with st.spinner(_("Making orders and codes…")), acts.refusals():
            slip = seal(typed)
    return slip


def slip(sealed: SealSlip) -> None:
    """What to print and keep on paper."""
    look.put(
        look.box(
            "patina",
            _("Sealed"),
            look.text(_("Sealed by {name}, {time}. Print this slip or copy both lines by hand.").format(
                name=sealed.by, time=clock(sealed.at)
            )),
            look.text(_next()),
            look.title(_("Rule, SHA-256"), 3),
            f'<p class="say mono">{look.plain(sealed.seal)}</p>',
            look.title(_("Seal of the record after {n} entries").format(n=sealed.events), 3),
            f'<p class="say mono">{look.plain(sealed.head)}</p>',
        )
    )  # fmt: skip


def _next() -> str:
    return _("Next: the preparer prints the labels and fills the cups; you open the sitting and hand out the links.")


def sealed_view(study: Study[Any], rule: Sequence[str], beside: Sequence[str] = ()) -> None:
    """The rule of a sealed study, to read only, and what belongs to it `beside`."""
    look.put(
        look.chip("half", _("sealed {time}").format(time=clock(study.sealed_at))),
        look.title(_("The rule"), 2),
        look.bullets(rule),
        *beside,
        look.text(_("Rule, SHA-256"), "small"),
        f'<p class="say mono">{look.plain(study.seal or "")}</p>',
    )
    st.link_button(_("Print the slip of the seal"), f"/print/slip/{study.id}")
