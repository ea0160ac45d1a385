"""Pseudonyms and the people behind them."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.services import panel
from studyapp.services.checking import check


def test_names_lie_apart_and_can_be_erased(workshop: Any) -> None:
    """Erasing removes name and contact; pseudonym, scores and record stay sound."""
    kite = panel.add_assessor(workshop.store, workshop.leader, "Kite", "Real Name", "real@example.org")
    panel.erase_person(workshop.store, workshop.leader, kite.id)
    with workshop.store.read() as tx:
        people = repr(tx.exec_driver_sql("SELECT * FROM person").all())
        chain = repr(tx.exec_driver_sql("SELECT * FROM event").all())
    assert "Real Name" not in people + chain
    assert "real@example.org" not in people + chain
    kept = next(a for a in panel.assessors(workshop.store, workshop.leader) if a.id == kite.id)
    assert (kept.pseudonym, kept.may_taste) == ("Kite", False)
    assert check(workshop.store.url).sound


@pytest.mark.parametrize("pseudonym", ["", "  ", "x" * 41, "heron"])
def test_a_pseudonym_is_short_and_unique(workshop: Any, pseudonym: str) -> None:
    """Two people never share a pseudonym, not even in another case."""
    with pytest.raises(BadInput, match="pseudonym"):
        panel.add_assessor(workshop.store, workshop.leader, pseudonym)


def test_the_panel_is_the_leaders_to_change(workshop: Any) -> None:
    """A preparer reads the pseudonyms and changes none; nobody else reads them."""
    assert panel.assessors(workshop.store, workshop.preparer)
    with pytest.raises(NotAllowed):
        panel.add_assessor(workshop.store, workshop.preparer, "Kite")
    with pytest.raises(NotAllowed):
        panel.assessors(workshop.store, None)
    with pytest.raises(NotFound):
        panel.set_may_taste(workshop.store, workshop.leader, "nobody", True)
