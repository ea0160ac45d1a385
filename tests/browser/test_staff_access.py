"""The pages of a bad day for those who run it: axe, keyboard, and twice the size without a code that breaks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from studyapp.services import calling, joining, preparing
from tests.browser.test_study import Desk
from tests.browser.test_taste_access import faults
from tests.conftest import Hand

pytestmark = pytest.mark.browser
# Codes of cups and of links that stand on more than one line, and those that stand on one, in every tree of the page.
CODES = """() => {
  const found = {whole: 0, broken: []};
  const walk = (root) => {
    for (const one of root.querySelectorAll('*')) if (one.shadowRoot) walk(one.shadowRoot);
    const texts = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    while (texts.nextNode()) {
      const node = texts.currentNode;
      for (const code of node.textContent.matchAll(/\\b([0-9]{3}|[2-9A-HJ-NP-Z]{8})\\b/g)) {
        const range = document.createRange();
        range.setStart(node, code.index);
        range.setEnd(node, code.index + code[0].length);
        const lines = new Set([...range.getClientRects()].map((one) => Math.round(one.top))).size;
        if (lines > 1) found.broken.push(code[0]); else found.whole += lines;
      }
    }
  };
  walk(document.body);
  return found;
}"""

FOCUS = """() => {
  let at = document.activeElement;
  while (at?.shadowRoot?.activeElement) at = at.shadowRoot.activeElement;
  return at?.textContent;
}"""


def _stands(desk: Desk, codes: int) -> None:
    """Nothing that axe-core minds, nothing that scrolls sideways, and at least so many codes, none of them broken."""
    desk.settle()
    assert faults(desk.page) == []
    assert desk.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "scrolls sideways"
    found = desk.page.evaluate(CODES)
    assert found["broken"] == []
    assert found["whole"] >= codes, found


def _desk(phone: Callable[..., Any], server: Any, workshop: Any, who: str, path: str, width: int) -> Desk:
    desk = Desk(phone(width, "dark" if width < 600 else "light")[0], server.url)
    desk.sign_in(who, workshop.passphrase)
    desk.page.goto(f"{server.url}/{path}")
    return desk


def test_pulls_trays_and_the_cockpit_at_twice_the_size(server: Any, workshop: Any, phone: Callable[..., Any]) -> None:
    """A tablet of 820 and a desk of 1280 px at 200 % have 410 and 640 px; at the conche a keyboard is enough."""
    hand = Hand(workshop.store, joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None))
    here = hand.serving()
    calling.call(workshop.store, hand.token, here.serving or "", "piece", here.code or "")
    spares = len(preparing.spare_codes(workshop.store, workshop.preparer, workshop.sitting.id))
    desk = _desk(phone, server, workshop, "Ada", f"watch?sitting={workshop.sitting.id}", 640)
    desk.see("Do: bring Heron the spare")
    _stands(desk, 3)
    bench = _desk(phone, server, workshop, "Ben", f"prepare?sitting={workshop.sitting.id}", 410)
    bench.press("Open the fill list")
    bench.see("Which box into which cup")
    bench.page.get_by_text("Spares", exact=True).click()
    _stands(bench, spares + 5)
    bench.page.goto(f"{server.url}/pulls?study={workshop.study}")
    bench.see("hour zero now")
    _stands(bench, 0)
    bench.page.get_by_role("button", name="hour zero now").press("Enter")
    bench.page.get_by_role("button", name="Taken now").press("Enter")
    assert bench.page.evaluate(FOCUS) == "17.25 h pull, taken"
    _stands(bench, 0)
    bench.page.get_by_role("button", name="Keep", exact=True).press("Enter")
    bench.see("3911.27 g")
    _stands(bench, 0)
