"""Second part of an aroma plan: the plant, how it met the chocolate, and what stands against it in the other cups."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.findings import hours as plain_number
from studyapp.kinds.aroma.plan import SINCE_BOTANICAL, AromaPlan, Botanical, DoseUnit
from studyapp.records import Problem
from studyapp.words import _

T = TypeVar("T", int, float)

_ONE_OR_TWO = re.compile(r"\d+,\d+")


def draw(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    """The plan with what was typed here."""
    with st.container(key="card-cups"):
        look.put(look.title(_("2. What is in the cups"), 2))
        plan = replace(plan, botanical=_botanical(plan.botanical, key))
        beside(problems, "botanical")
        look.put(look.caution(_plant_caution(), _("Careful")))
        plan = _process(plan, key, problems)
        plan = _levels(plan, key, problems)
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
def _levels(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    if plan.aim == "dose":
        return _doses(plan, key, problems)
    if plan.aim == "detectable":
        return replace(plan, doses=(), batches=())
    label = {
        "carry over": _("Plain batches after it, counted from 1"),
        "linger": _("Days after which it is tasted"),
        "aftertaste": _("Seconds after a piece at which it is noticed"),
    }[plan.aim]
    shown = ", ".join(str(level) for level in plan.batches)
    typed = st.text_input(label, shown, key=_rungs_key(plan, key), placeholder="1, 2, 3")
    if plan.aim == "aftertaste":
        look.put(look.quiet(_("Every piece is noticed once, at one of these times; another time needs other pieces.")))
    batches = _read(typed, plan.batches, read_counts)
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


def _rungs_key(plan: AromaPlan, key: str) -> str:
    """Seconds have a field of their own: what was typed as batches is no time."""
    return f"seconds-{key}" if plan.aim == "aftertaste" else f"batches-{key}"


def _doses(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
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
        typed = st.text_input(
            _("Doses tasted, smallest first"),
            ", ".join(plain_number(dose) for dose in plan.doses),
            key=f"doses-{key}",
            placeholder="5, 10, 20, 40",
        )
        look.put(look.quiet(_("Each about double the one before. 0 is blank against blank: it checks the guessing.")))
    doses = _read(typed, plan.doses, read_numbers)
    beside(problems, "doses")
    return replace(plan, doses=doses, dose_unit=unit, batches=())


def _read(typed: str, before: Sequence[T], read: Callable[[str], list[T]]) -> tuple[T, ...]:
    """Numbers from a typed list; a slip is named and what stood there before stays."""
    try:
        return tuple(sorted(read(typed)))
    except ValueError as wrong:
        look.put(look.text(str(wrong), "problem brick"))
        return tuple(before)


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


def unread(plan: AromaPlan, key: str) -> tuple[Problem, ...]:
    """What is typed on the page and cannot be kept: until it is mended, the plan is not the one that is looked at."""
    field, read = ("doses", read_numbers) if plan.aim == "dose" else ("batches", read_counts)
    where = f"doses-{key}" if plan.aim == "dose" else _rungs_key(plan, key)
    try:
        read(st.session_state.get(where, "") if plan.aim != "detectable" else "")
    except ValueError as wrong:
        return (Problem(field, str(wrong)),)
    return ()


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
