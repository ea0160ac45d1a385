"""Hands for the tests of the services: assessors who taste as told."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import Any

import pytest

from studyapp.records import Mark, Place
from studyapp.services import joining, tasting
from studyapp.store import Store


class Hand:
    """One assessor with a phone."""

    def __init__(self, store: Store, token: str) -> None:
        """The phone has joined already."""
        self.store, self.token = store, token

    def place(self) -> Place:
        """What the phone shows."""
        return tasting.place(self.store, self.token)

    def mark(self, serving: str, line: str, value: float) -> str:
        """Mark one line; returns the nonce."""
        nonce = secrets.token_hex(12)
        tasting.keep_mark(self.store, self.token, Mark(serving, line, value, nonce))
        return nonce

    def serving(self) -> Place:
        """Agree, drink the warm-up away and stand before the next scored serving."""
        tasting.agree(self.store, self.token)
        here = self.place()
        if here.kind == "warm_up":
            assert here.serving is not None
            tasting.finish_serving(self.store, self.token, here.serving)
            here = self.place()
        return here

    def taste_all(self, value_of: Callable[[Place, str], float] = lambda _place, _line: 5.0) -> int:
        """Mark every line of every serving; returns how many marks."""
        marks = 0
        here = self.serving()
        while here.kind == "serving" and here.serving is not None:
            for line in here.lines:
                self.mark(here.serving, line.id, value_of(here, line.name))
                marks += 1
            tasting.finish_serving(self.store, self.token, here.serving)
            here = self.place()
        return marks


@pytest.fixture
def hand(workshop: Any) -> Hand:
    """The first assessor of the workshop, joined."""
    return Hand(workshop.store, joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None))


@pytest.fixture
def hands(workshop: Any) -> list[Hand]:
    """Every assessor of the workshop, joined."""
    return [Hand(workshop.store, joining.join(workshop.store, link.code, "10.0.0.7", None)) for link in workshop.links]
