"""The seal of an aroma plan, and the plan after it; the card before the seal is that of every study."""

from __future__ import annotations

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.moments import clock
from studyapp.records import AromaStudy, SealSlip, Staff
from studyapp.services import aroma_planning
from studyapp.store import Store
from studyapp.words import _


def dialog(store: Store, by: Staff, study: AromaStudy) -> SealSlip | None:
    """The rule as sentences and the name typed once more; the slip once it is sealed."""
    look.put(look.bullets(aroma_planning.rule_sentences(study.plan)))
    look.put(
        look.caution(
            _("Sealing says nothing about the plant: whether it may be eaten, and how much, is decided elsewhere.")
        )
    )
    typed = st.text_input(
        _("Type the name of the study to seal it: {title}").format(title=study.plan.title), key=f"typed-{study.id}"
    )
    slip = None
    if st.button(_("Seal the rule"), type="primary", key=f"seal-now-{study.id}"):
        with st.spinner(_("Making orders and codes…")), acts.refusals():
            slip = aroma_planning.seal(store, by, study.id, typed)
    return slip


def sealed_view(study: AromaStudy) -> None:
    """The rule of a sealed study, to read only."""
    plan, plant = study.plan, study.plan.botanical
    cups = [
        (_("Plant"), _("{name}, {part}").format(name=plant.name, part=plant.part)),
        (_("Supplier and lot"), _("{supplier}, {lot}").format(supplier=plant.supplier, lot=plant.lot)),
        (_("Infusion"), plan.process),
        (_("The other cups"), plan.reference if plan.aim in ("carry over", "linger") else plan.blank),
        (_("Cleared as food by"), plan.safe_food_by),
    ]
    look.put(
        look.chip("square", _("sealed {time}").format(time=clock(study.sealed_at))),
        look.title(_("The rule"), 2),
        look.bullets(aroma_planning.rule_sentences(plan)),
        look.title(_("What is in the cups"), 2),
        look.rows([look.row(look.strong(name), look.plain(words)) for name, words in cups], "notes"),
        look.text(_("Rule, SHA-256"), "small"),
        f'<p class="say mono">{look.plain(study.seal or "")}</p>',
    )
