"""Second part of an aroma plan: the plant, how it met the chocolate, and what stands against it in the other cups."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.components.plan_slips import Slips
from studyapp.findings import hours as plain_number
from studyapp.kinds.aroma.plan import SINCE_BOTANICAL, AromaPlan, Botanical, DoseUnit
from studyapp.records import Problem
from studyapp.words import _

_ONE_OR_TWO = re.compile(r"\d+,\d+")


def draw(plan: AromaPlan, key: str, problems: Sequence[Problem], slips: Slips) -> AromaPlan:
    """The plan with what was typed here."""
    plan = replace(plan, botanical=_botanical(plan.botanical, key))
    beside(problems, "botanical")
    look.put(look.caution(_plant_caution(), _("Careful")))
    plan = _process(plan, key, problems)
    plan = _levels(plan, key, problems, slips)
    return _against(plan, key, problems)


def _botanical(plant: Botanical, key: str) -> Botanical:
    left, right = st.columns(2)
    with left:
        name = st.text_input(_("Botanical name"), plant.name, key=f"plant-{key}", placeholder="Mentha spicata")
        supplier = st.text_input(_("Supplier, who sells it as food"), plant.supplier, key=f"supplier-{key}")
    with right:
        part = st.text_input(_("Part of the plant"), plant.part, key=f"part-{key}", placeholder=_("dried leaf"))
        lot = st.text_input(_("Lot"), plant.lot, key=f"lot-{key}")
    return Botanical(name, part, supplier, lot)


def _plant_caution() -> str:
    return _(
        "Name plant, part, supplier and lot, meant for food. Some plants, and strong doses of ordinary ones, are "
        "limited or forbidden. Your local code and a licensed specialist decide, not this tool."
    )


def _process(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    left, right = st.columns(2)
    recipe = left.text_input(_("Chocolate"), plan.recipe, key=f"recipe-{key}", placeholder=_("Dark 72 %"))
    batch = right.text_input(_("Batch"), plan.batch, key=f"batch-{key}", placeholder=_("lot 14"))
    process = st.text_area(
        _("How the hot air carried it in"),
        plan.process,
        key=f"process-{key}",
        placeholder=_("Hot air at 55 °C through 20 g of leaf per kg of mass at 45 °C, 15 min"),
    )
    beside(problems, "process")
    look.put(
        look.caution(
            _(
                "Hot air and hot mass burn, and vapour can sting eyes and lungs; dry plant matter in hot air can catch "
                "fire. Guards on, air drawn off, never alone. Follow the machine's manual and your site's rules."
            )
        )
    )
    return replace(plan, recipe=recipe, batch=batch, process=process)


# ---- doses, batches, days ----------------------------------------------------------------------------------------
def _levels(plan: AromaPlan, key: str, problems: Sequence[Problem], slips: Slips) -> AromaPlan:
    if plan.aim == "dose":
        return _doses(plan, key, problems, slips)
    if plan.aim == "detectable":
        return replace(plan, doses=(), batches=())
    label = {
        "carry over": _("Plain batches after it, counted from 1"),
        "linger": _("Days after which it is tasted"),
        "aftertaste": _("Seconds after a piece at which it is noticed"),
    }[plan.aim]
    shown = ", ".join(str(level) for level in plan.batches)
    # Seconds have a field of their own: what was typed as batches is no time.
    field = "batches seconds" if plan.aim == "aftertaste" else "batches"
    batches = slips.read(field, label, shown, _counts, plan.batches, f"{field.split()[-1]}-{key}", "1, 2, 3")
    if plan.aim == "aftertaste":
        look.put(look.quiet(_("Every piece is noticed once, at one of these times; another time needs other pieces.")))
    beside(problems, "batches")
    purge = plan.purge_g
    if plan.aim == "carry over":
        purge = st.number_input(
            _("Mass pushed through between batches, g"),
            0.0,
            1e6,
            plan.purge_g,
            100.0,
            format="%.0f",
            key=f"purge-{key}",
        )
    return replace(plan, batches=batches, doses=(), purge_g=purge)


def _doses(plan: AromaPlan, key: str, problems: Sequence[Problem], slips: Slips) -> AromaPlan:
    left, right = st.columns([1, 2])
    units: dict[DoseUnit, str] = {"min": _("minutes of hot air"), "g": _("grams per kg")}
    with left:
        unit = st.radio(
            _("What is varied"),
            list(units),
            list(units).index(plan.dose_unit),
            format_func=units.__getitem__,
            key=f"unit-{key}",
        )
    with right:
        shown = ", ".join(plain_number(dose) for dose in plan.doses)
        doses = slips.read(
            "doses", _("Doses tasted, smallest first"), shown, _numbers, plan.doses, f"doses-{key}", "5, 10, 20, 40"
        )
        look.put(look.quiet(_("Each about double the one before. 0 is blank against blank: it checks the guessing.")))
    beside(problems, "doses")
    return replace(plan, doses=doses, dose_unit=unit, batches=())


def _numbers(typed: str) -> tuple[float, ...]:
    return tuple(sorted(read_numbers(typed)))


def _counts(typed: str) -> tuple[int, ...]:
    return tuple(sorted(read_counts(typed)))


def read_numbers(typed: str) -> list[float]:
    """Numbers from a list such as "5, 10, 20"; a semicolon or a space separates as well.

    Raises:
        ValueError: with the sentence to show, when a part is not a number or may be one or two.
    """
    ambiguous = (
        _ONE_OR_TWO.search(typed) if re.search(r"[\s;]", typed.strip()) else _ONE_OR_TWO.fullmatch(typed.strip())
    )
    if ambiguous:
        part = ambiguous.group()
        told = _("Fix the list: is “{part}” one number or two? Write {one} or {two}.")
        raise ValueError(told.format(part=part, one=part.replace(",", "."), two=part.replace(",", ", ")))
    return [_number(part) for part in _parts(typed)]


def read_counts(typed: str) -> list[int]:
    """Whole numbers from such a list, for batches and days.

    Raises:
        ValueError: with the sentence to show, when a part is not a whole number.
    """
    for part in _parts(typed):
        if _number(part) % 1:
            raise ValueError(_("Fix the list: “{part}” is not a whole number.").format(part=part))
    return [int(_number(part)) for part in _parts(typed)]


def _parts(typed: str) -> list[str]:
    return typed.replace(";", " ").replace(",", " ").split()


def _number(part: str) -> float:
    try:
        number = float(part)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(_("Fix the list: “{part}” is not a number.").format(part=part))
    return number


# ---- the other cups ----------------------------------------------------------------------------------------------
def _against(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    if plan.aim in SINCE_BOTANICAL:
        reference = st.text_input(
            _("The other cups: plain chocolate made before"),
            plan.reference,
            key=f"reference-{key}",
            placeholder=_("plain batch 11, made on 2 November, kept sealed"),
        )
        beside(problems, "reference")
        look.put(
            look.quiet(_("Same recipe, no plant near it, stored as the others are; else age is tasted, not aroma."))
        )
        return replace(plan, reference=reference)
    blank = st.text_input(_("The other cups: the matched blank"), plan.blank, key=f"blank-{key}")
    beside(problems, "blank")
    look.put(
        look.quiet(
            _("Hot air alone changes chocolate. Only a blank that had the same air and time shows the plant itself.")
        )
    )
    return replace(plan, blank=blank)
