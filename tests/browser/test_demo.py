"""The invented workshop in a real browser: every role draws under our policy, and nothing is asked from outside."""

from __future__ import annotations

from typing import Any

import pytest

from tests.browser.test_study import open_step

pytestmark = pytest.mark.browser


def test_the_walk_through_the_demo(demo: Any, phone: Any) -> None:
    """First page, a verdict with its charts, the room, the trays, a seat: drawn, and nothing asked from outside."""
    page, heard = phone(1280)
    page.goto(demo.url)
    page.get_by_text("Invented panel", exact=True).wait_for()
    page.get_by_role("link", name="Walk through it").click()
    page.get_by_role("button", name="Read the verdict").first.click()
    page.locator("[data-testid='stVegaLiteChart'] svg, [data-testid='stVegaLiteChart'] canvas").first.wait_for(
        timeout=60000
    )
    for path, words in (("watch", "Trays and room"), ("prepare", "Print the labels"), ("panel", "Panel")):
        page.goto(f"{demo.url}/{path}")
        if path != "panel":  # two sittings run: nobody guesses which
            page.get_by_text("Which sitting?").wait_for()
            page.locator(".rows a").first.click()
        page.get_by_text(words).first.wait_for()
        page.get_by_text("Invented panel", exact=True).wait_for()
    page.get_by_role("link", name="Assessor").click()
    page.get_by_role("button", name="I have read this, start").wait_for()
    assert heard.outside(demo.url) == []
    assert [
        line for line in heard.console if "Content Security Policy" in line or "Content-Security-Policy" in line
    ] == []
    assert '"level": "ERROR"' not in demo.logged()


@pytest.mark.parametrize(
    ("role", "address", "heading"), [("preparer", "prepare", "Prepare"), ("leader", "studies", "Studies")]
)
def test_the_first_page_of_a_role_answers_at_its_own_address_too(
    demo: Any, phone: Any, role: str, address: str, heading: str
) -> None:
    """A leader hands the preparer the address of the page; it is that page, not an apology."""
    page, _heard = phone(1280)
    page.goto(f"{demo.url}/demo/{role}")
    page.get_by_role("heading", name=heading, exact=True).wait_for()
    page.goto(f"{demo.url}/{address}")
    page.get_by_role("heading", name=heading, exact=True).wait_for()
    page.wait_for_load_state("networkidle")
    assert page.get_by_text("Page not found").count() == 0


def test_leaving_the_demo_role(demo: Any, phone: Any) -> None:
    """Signing out leads back to the first page."""
    page, _heard = phone(1280)
    page.goto(f"{demo.url}/demo/preparer")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("link", name="Walk through it").wait_for()
    assert [cookie["name"] for cookie in page.context.cookies() if cookie["name"] == "staff"] == []


def test_a_second_opinion_comes_into_the_numbers_when_it_is_ticked(demo: Any, phone: Any) -> None:
    """Its part of the page runs alone: the fold stays open, and the verdict is not worked out anew."""
    page, _heard = phone(1280)
    page.goto(demo.url)
    page.get_by_role("link", name="Walk through it").click()
    page.get_by_role("button", name="Read the verdict").first.click()
    page.get_by_text("The numbers", exact=True).click()
    assert page.get_by_text("log-likelihood, restricted").count() == 0
    page.get_by_text("Ask two other programs about these numbers").click()
    page.get_by_text("log-likelihood, restricted").first.wait_for(timeout=60000)
    page.get_by_text("statsmodels agrees").first.wait_for()
    assert page.get_by_text("Ask two other programs about these numbers").is_visible()
    assert '"level": "ERROR"' not in demo.logged()


def test_flavour_and_flow_decide_together(demo: Any, phone: Any) -> None:
    """The invented study in which viscosity decides, on a phone: rows with words beside them; a draft takes a limit."""
    page, _heard = phone(390)
    page.goto(f"{demo.url}/demo/leader")
    page.get_by_role("heading", name="Studies", exact=True).wait_for()
    page.wait_for_load_state("networkidle")
    study = page.get_by_text("Plain dark, flavour and flow").first
    study.locator("xpath=ancestor::*[.//button][1]").get_by_role("button").first.click()
    page.get_by_text("Flavour is ready at 12 h, viscosity at 16 h: viscosity decides.").wait_for(timeout=60000)
    page.get_by_text("decides: ready at 16 h").wait_for()
    page.get_by_label("Viscosity: at most 4 Pa.s from 16 h on.").first.wait_for(timeout=30000)
    page.goto(f"{demo.url}/studies")
    page.get_by_role("button", name="Go on planning").first.click()
    open_step(page, "Limits of instruments")
    page.get_by_role("button", name="Add a limit").click()
    for label, value in (("Limit, Pa.s", "4"), ("Instrument", "bench viscometer"), ("Method", "40 C, down")):
        field = page.get_by_label(label, exact=True)
        field.fill(value)
        field.press("Tab")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("at most 4 Pa.s").first.wait_for()
    page.get_by_text("may rise again in long hours").wait_for()


def test_the_walk_is_one_study_from_its_seal_to_its_verdict(demo: Any, phone: Any) -> None:
    """Each page names the next one, and what is tasted stands in the room that is watched. The last test of this file:
    it opens the key that the others leave closed."""
    page, _heard = phone(390)
    page.goto(f"{demo.url}/demo/leader")
    page.get_by_role("link", name="Read a sealed plan").click()
    for way, words in (
        ("See the trays", "Plain dark, this afternoon, Tasting 1. 7 of 7 trays are out."),
        ("Taste a serving", "You are Heron today"),
    ):
        page.get_by_role("link", name=f"Next: {way}").click()
        page.get_by_text(words).wait_for()
    page.get_by_role("button", name="I have read this, start").click()
    page.get_by_role("button", name="Next serving").click()
    page.get_by_role("timer").wait_for()
    page.get_by_role("link", name="Next: watch the sitting you taste in").click()
    heron = page.locator(".row", has_text="Heron")
    heron.get_by_text("resting").wait_for()
    assert page.locator(".row", has_text="has not opened the link yet").count() == 7
    page.get_by_role("button", name="Let the others taste").click()
    page.get_by_role("link", name="Next: Open the key").click(timeout=60000)
    page.get_by_label("Why nobody opens it with you").fill("a walk")
    page.get_by_role("button", name="Open the key").click()
    page.get_by_text("Walk through it, 6 of 6").wait_for(timeout=60000)
    page.get_by_role("heading", name="Stop at").wait_for()
    assert '"level": "ERROR"' not in demo.logged()
