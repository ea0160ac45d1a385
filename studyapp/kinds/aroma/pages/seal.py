"""What stands beside the sealed rule of an aroma study: what is in the cups, and what the seal does not say."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.components import look
from studyapp.kinds.aroma.plan import SINCE_BOTANICAL, AromaPlan
from studyapp.kinds.aroma.rule import control
from studyapp.words import _


def caution() -> str:
    """Before the seal."""
    return _("Sealing says nothing about the plant: whether it may be eaten, and how much, is decided elsewhere.")


def cups(plan: AromaPlan) -> Sequence[str]:
    """What is in the cups, and who cleared it."""
    plant = plan.botanical
    lines = [
        (_("Plant"), _("{name}, {part}").format(name=plant.name, part=plant.part)),
        (_("Supplier and lot"), _("{supplier}, {lot}").format(supplier=plant.supplier, lot=plant.lot)),
        (_("Infusion"), plan.process),
        (_("The other cups"), plan.reference if plan.aim in SINCE_BOTANICAL else plan.blank),
        *([(_("The control"), control.made(plan))] if plan.control else []),
        (_("Cleared as food by"), plan.safe_food_by),
    ]
    return (
        look.title(_("What is in the cups"), 2),
        look.rows([look.row(look.strong(name), look.plain(words)) for name, words in lines], "notes"),
    )
