"""One link, two phones: the second goes on, the first says so, and nothing is lost in silence."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_the_second_phone_goes_on_and_the_first_says_so(server: Any, workshop: Any, hands: Any) -> None:
    """A mark that the first could not send is named with the reason when it finds its way back."""
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE serving SET finished_at = '2026-01-05T09:00:00Z' WHERE position = 0")
    (first, _), (second, _) = hands(), hands()
    first.page.goto(server.url + workshop.link())
    first.press("I have read this, start")
    first.see("Serving 1 of 3. Take cup")
    first.touch("Acidity", 0.5)
    first.saved()
    first.page.context.set_offline(True)
    first.touch("Bitterness", 0.9)
    first.see("waiting")
    second.page.goto(server.url + workshop.link())
    second.see("Serving 1 of 3. Take cup")
    assert second.page.get_by_role("slider", name="Acidity").get_attribute("aria-valuetext") != "not marked"
    assert second.page.get_by_role("slider", name="Bitterness").get_attribute("aria-valuetext") == "not marked"
    first.page.context.set_offline(False)
    first.see("Bitterness: Not kept: this tasting went on to another phone.")
    if first.page.get_by_role("button", name="Show where I am").count():
        first.press("Show where I am")
    first.see("This tasting went on to another phone")
    second.touch("Bitterness", 0.2)
    second.saved()
    assert [(row[1], row[2]) for row in workshop.scores()] == [("Acidity", 5.0), ("Bitterness", 2.0)]
