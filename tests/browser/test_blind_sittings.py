"""Sittings of four studies (forty in a search), each with words and hours of its own planted: none reaches a phone."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Sitting
from studyapp.services import joining, planning, preparing, watching
from tests.conftest import CHECKS

pytestmark = [pytest.mark.browser, pytest.mark.reliability]
LETTERS = "bcdfghjklmnpqrstvwxz"


def planted(plan: HoursPlan, seed: int) -> tuple[HoursPlan, list[str]]:
    """The plan with fresh words in every text of its own and fresh hours and masses, and all that must not be heard."""
    rng = random.Random(seed)
    words = ["".join(rng.choice(LETTERS) for _ in range(12)) for _ in range(6)]
    pulls = tuple(
        Pull(round(10 * part + rng.random(), 3), mass_g=round(1000 * part + rng.random(), 3)) for part in (1, 2, 3)
    )
    title, question, recipe, batch, machine, zero = words
    named = replace(
        plan, title=title, question=question, recipe=recipe, batch=batch, machine=machine, hour_zero=zero, pulls=pulls
    )
    return named, [*words, *(f"{number}" for pull in pulls for number in (pull.hours, pull.mass_g))]


def open_one(workshop: Any, plan: HoursPlan) -> tuple[str, Sitting]:
    """Seal the plan, let every tray go and open its sitting; the first assessor's link."""
    store, leader, preparer = workshop.store, workshop.leader, workshop.preparer
    study = planning.new_study(store, leader, "hours", plan.title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, plan.title)
    sitting = preparing.sittings(store, leader, study)[0]
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    return f"/join/{joining.issue_links(store, leader, sitting.id)[0].code}", sitting


def test_no_sitting_tells_a_phone_what_it_serves(
    server: Any, workshop: Any, hands: Callable[..., Any], draws: Callable[[int, int], int]
) -> None:
    """Welcome, warm-up and a marked serving of each: frames, pages, addresses, headers and console are searched."""
    for seed in range(draws(4, 40)):
        plan, secrets = planted(workshop.plan, seed)
        link, sitting = open_one(workshop, plan)
        me, heard = hands()
        me.start(server.url + link)
        me.mark_all()
        me.press("Next serving")
        me.see("Serving 2 of 3. Take cup")
        pages = me.sent() + me.page.url
        heap = heard.everything() + pages.encode()
        me.page.context.close()
        assert b"Acidity" in heap, "the search must see what is really sent"
        told = [secret for secret in [*secrets, *workshop.secrets().values(), sitting.study] if secret.encode() in heap]
        assert told == [], f"sitting {seed}"
