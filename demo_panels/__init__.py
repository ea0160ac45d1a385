"""An invented workshop: every person, lot and score in here is made up. See README.md."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from studyapp.store import Store


def load(store: Store) -> None:
    """Fill an empty store with the workshop: finished studies, an open sitting and a draft."""
    from demo_panels.workshop import fill

    fill(store)


def taste_the_rest(store: Store, study: str) -> None:
    """Let the invented panel taste whatever is left of a study of `load`; what a visitor marked stays."""
    from demo_panels.workshop import taste_the_rest as rest

    rest(store, study)
