"""Kitchens of aroma studies, for every test of the kind."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import PLAN, Kitchen, furnish_aroma


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Any]:
    """Make kitchens of so many people, each in a store of its own."""
    stores = []

    def made(plan: Any = PLAN, assessors: int = 6) -> Kitchen:
        store, made = furnished(tmp_path / f"studies{len(stores)}.sqlite", furnish_aroma, plan, assessors)
        stores.append(store)
        return made

    yield made
    for store in stores:
        store.close()
