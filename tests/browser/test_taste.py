"""An assessor's whole way in a real browser, with everything that goes wrong on a workshop's network."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser


def touch(page: Any, name: str, share: float) -> None:
    """Touch a line scale at a share of its length."""
    lane = page.get_by_role("slider", name=name)
    lane.scroll_into_view_if_needed()
    box = lane.bounding_box()
    page.mouse.click(box["x"] + 22 + share * (box["width"] - 44), box["y"] + box["height"] / 2)


def test_a_whole_sitting(server: Any, workshop: Any, phone: Any) -> None:
    page, _heard = phone()
    page.goto(server.url + workshop.link())
    page.get_by_role("button", name="I have read this, start").click()
    page.get_by_role("button", name="Next serving").click()
    for number in (1, 2, 3):
        page.get_by_text(f"Serving {number} of 3").wait_for()
        for line in ("Acidity", "Bitterness", "Astringency"):
            touch(page, line, 0.5)
        page.get_by_text("saved").wait_for()
        page.get_by_role("button", name="Next serving").click()
    page.get_by_text("Thank you, Heron").wait_for()
    assert len(workshop.scores()) == 9
