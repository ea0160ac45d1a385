"""Comparisons of the invented workshop, each in a store of its own that is made once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from demo_panels import generate, makes_workshop
from demo_panels.workshop import Workshop
from studyapp.records import Staff
from studyapp.services import accounts, panel, planning
from studyapp.store import Store
from tests.furnished import furnished


@dataclass
class Compared:
    """A comparison that was tasted and opened, and who ran it."""

    store: Store
    leader: Staff
    preparer: Staff
    study: str


def people(store: Store) -> Workshop:
    """The people of the invented workshop."""
    leader = accounts.first_leader(store, "Ada", "a bench by the window")
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
    for name in generate.NAMES:
        panel.add_assessor(store, leader, name)
    second = accounts.add_staff(store, leader, "Ida", "leader", "a bench by the window")
    return Workshop(store, leader, second, preparer, panel.assessors(store, leader))


def furnish_comparison(store: Store, name: str) -> Compared:
    """A folder of the invented comparisons, tasted to its end."""
    shop = people(store)
    makes_workshop.finished(shop, name)
    (study,) = planning.studies(store, shop.leader)
    return Compared(store, shop.leader, shop.preparer, study.id)


@pytest.fixture
def finished(tmp_path: Path) -> Iterator[Callable[[str], Compared]]:
    """The comparison of a folder, tasted, opened, and signed where nothing is open."""
    stores: list[Store] = []

    def made(name: str) -> Compared:
        store, found = furnished(tmp_path / f"{name}.sqlite", furnish_comparison, name)
        stores.append(store)
        return found  # type: ignore[no-any-return]

    yield made
    for store in stores:
        store.close()
