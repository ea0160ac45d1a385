"""Aroma studies in real browsers: sets of cups on phones, one final answer a set, to the verdict at the desk."""

from __future__ import annotations

import contextlib
import secrets
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import NotAllowed
from studyapp.kinds.aroma.plan import AromaPlan, Botanical, Control
from studyapp.records import JoinLink, Sitting
from studyapp.services import accounts, closing, joining, planning, preparing, tasting, trying, watching
from studyapp.store import trials
from tests.browser.test_study import next_step, open_step
from tests.kinds.aroma.aroma_kitchen import CHECKS
from tests.printing.paper_reading import flowing

pytestmark = pytest.mark.browser
AXE = Path(__file__).with_name("axe.min.js")
# Planted everywhere a study keeps something of its own; only the plant itself is told to who tastes.
PLANT = "Mentha spicata"
PLAN = AromaPlan(
    "Quittentorte study",
    question="Is Zirbelnuss noticed?",
    botanical=Botanical(PLANT, "Pfauenfeder leaf", "Drehmaschine & Sons", "Nullpunkt 7"),
    recipe="Kupferdach 72",
    batch="Nebelhorn 9",
    process="Föhnwind through 21.75 g per kg for 17.25 min",
    blank="same mass, Glockenturm air, nothing in it",
    trials_each=2,
    sets_a_sitting=2,
    sittings=1,
    pd_limit=0.5,
    rest_seconds=0,
    contains="cocoa, cane sugar, cocoa butter",
    traces="milk",
    safe_food_by="Wetterhahn",
)
CANARIES = (
    "Quittentorte", "Zirbelnuss", "Pfauenfeder", "Drehmaschine", "Nullpunkt", "Kupferdach", "Nebelhorn", "Föhnwind",
    "21.75", "17.25", "Glockenturm", "Wetterhahn",
)  # fmt: skip


@dataclass
class Aroma:
    """One sealed aroma study with an open sitting, its links, and the key: codes of a set to box letters."""

    workshop: Any
    study: str
    sitting: Sitting
    links: tuple[JoinLink, ...]
    boxes: dict[str, str]

    def odd(self, codes: tuple[str, ...]) -> str:
        """The code of the cup whose box holds something else than the two others."""
        counts = Counter(self.boxes[code] for code in codes)
        return next(code for code in codes if counts[self.boxes[code]] == 1)

    def answers(self) -> list[tuple[str, tuple[str, ...] | None, bool]]:
        """Every kept row of a choice, oldest first."""
        with self.workshop.store.read() as tx:
            return [(each.set, each.choice, each.guess) for each in trials.all_answers(tx)]

    def secrets(self) -> list[str]:
        """Ids that no phone may hear."""
        with self.workshop.store.read() as tx:
            return [self.study, *(box.id for box in trials.boxes(tx, self.study))]


@pytest.fixture
def begin(workshop: Any) -> Callable[..., Aroma]:
    """A function that seals a plan for the five assessors, lets the trays go or not, and opens the sitting."""

    def make(kept_back: bool = False, **changes: Any) -> Aroma:
        store, leader, cook = workshop.store, workshop.leader, workshop.preparer
        plan = replace(PLAN, assessors=workshop.plan.assessors, **changes)
        study = planning.new_study(store, leader, "aroma", plan.title)
        planning.keep_plan(store, leader, study, plan)
        planning.seal(store, leader, study, plan.title)
        sitting = preparing.sittings(store, leader, study)[0]
        rows = preparing.fill_rows(store, cook, sitting.id)
        if not kept_back:
            _let_out(workshop, sitting)
        watching.open_sitting(store, leader, sitting.id)
        links = joining.issue_links(store, leader, sitting.id)
        return Aroma(workshop, study, sitting, links, {code: box for row in rows for code, box in row.cups})

    return make


def _let_out(workshop: Any, sitting: Sitting) -> None:
    """Let every tray leave the kitchen in its turn; one that left is left alone."""
    store, cook, checks = workshop.store, workshop.preparer, CHECKS
    for tray in preparing.trays(store, cook, sitting.id):
        preparing.release_tray(store, cook, sitting.id, tray.position, checks, "Cleo")


def _desk(server: Any, workshop: Any, page: Any, who: str, path: str) -> Any:
    token = accounts.sign_in(workshop.store, who, workshop.passphrase, "10.0.0.6")
    page.context.add_cookies([{"name": "staff", "value": token, "url": server.url}])
    page.goto(server.url + path)
    return page


def _codes(me: Any) -> tuple[str, ...]:
    """All codes on the page in the order of tasting, the reference first where there is one."""
    return tuple(me.page.locator(".code").all_inner_texts())


def _pick(me: Any, code: str) -> None:
    me.page.get_by_role("radio", name=code).check()


def _answer(me: Any, number: int, of: int, code_of: Callable[[tuple[str, ...]], str], taps: int = 1) -> None:
    """Pick one cup of this set and keep it, with so many taps."""
    me.page.get_by_role("radio").first.wait_for()  # the page of a piece has the same heading and no cup to choose
    me.see(f"Trial {number} of {of}")
    codes = _codes(me)
    code = code_of(codes)
    _pick(me, code)
    me.page.get_by_role("button", name=f"Keep {code}", exact=True).click(click_count=taps)
    me.page.locator(".code", has_text=codes[-1]).wait_for(state="detached")


def _by_hand(aroma: Aroma, link: JoinLink, code_of: Callable[[tuple[str, ...]], str]) -> None:
    """Somebody without a browser of their own in this test: the same services, the same store."""
    store = aroma.workshop.store
    token = joining.join(store, link.code, "10.0.0.7", None)
    tasting.agree(store, token)
    here = tasting.place(store, token)
    while here.kind == "trial":
        assert here.trial is not None
        trying.keep_choice(store, token, here.trial, (code_of(here.cups),), False, secrets.token_hex(12))
        here = tasting.place(store, token)


def _release_in_the_kitchen(bench: Any) -> None:
    bench.get_by_label("Second person, who reads the labels of each tray against its sheet").fill("Cleo")
    for words in ("Cleared as food", "The allergen list", "No bloom", PLANT):
        bench.locator(".stCheckbox label", has_text=words).click()
        bench.wait_for_timeout(300)
        bench.locator('[data-test-script-state="notRunning"]').wait_for()
    bench.locator(".st-key-tray-line-1 button").click()
    bench.get_by_role("button", name="Release tray 1").click()
    bench.get_by_text("1 of 2 trays").first.wait_for()


def _barriers(page: Any) -> list[str]:
    """What axe-core minds (WCAG 2.2 AA and its best practices), as rule and element."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    return [f"{rule['id']}: {node['html'][:160]}" for rule in found["violations"] for node in rule["nodes"]]


def _open_the_key(desk: Any) -> None:
    desk.get_by_role("button", name="Close the sitting").click()
    desk.get_by_text("This sitting is closed.").wait_for()
    desk.get_by_role("button", name="Open the key").click()
    desk.get_by_label("Why nobody opens it with you").fill("Nobody else leads here.")
    desk.get_by_role("button", name="Open the key").click()


def _search_the_phones(server: Any, aroma: Aroma, people: list[Any]) -> None:
    """No planted word and no id has reached a phone, by frame, address, header or page."""
    for me, heard in people:
        heap = heard.everything() + me.sent().encode()
        assert b"Trial 2 of 2" in heap, "the search must see what is really sent"
        for secret in (*CANARIES, *aroma.secrets()):
            assert secret.encode() not in heap, f"{secret} reached a phone"
        assert not heard.outside(server.url)


def _read_the_verdict(server: Any, aroma: Aroma, phone: Any, folder: Path) -> None:
    """The page of the verdict has no barrier and fits, on desk and phone, in light and dark."""
    for width, scheme in ((1280, "light"), (390, "dark")):
        desk = _desk(server, aroma.workshop, phone(width, scheme)[0], "Ada", f"/decide?study={aroma.study}")
        desk.get_by_text("A taste result, not a clearance").wait_for()
        desk.get_by_text("The numbers").click()
        desk.locator("svg.marks, canvas").nth(1).wait_for()
        desk.screenshot(path=str(folder / f"verdict-{width}-{scheme}.png"), full_page=True)
        assert _barriers(desk) == []
        assert desk.evaluate("document.documentElement.scrollWidth") <= width, "nothing scrolls sideways"


def test_a_triangle_sitting_to_its_verdict(
    server: Any, workshop: Any, begin: Any, hands: Any, phone: Any, tmp_path: Path
) -> None:
    """Kitchen, three phones and the desk: ten of ten odd cups found is detectable, and no phone learns what it held."""
    aroma = begin(kept_back=True)
    people = [hands() for _three in range(3)]
    for (me, _heard), link in zip(people, aroma.links, strict=False):
        me.page.goto(f"{server.url}/join/{link.code}")
        me.see("2 sets of 3 small pieces of chocolate.")
        me.see(f"With {PLANT}.")
        me.press("I have read this, start")
        me.see("Your tray is on its way")
    bench = _desk(server, workshop, phone(1280)[0], "Ben", f"/?study={aroma.study}")
    _release_in_the_kitchen(bench)
    bench.screenshot(path=str(tmp_path / "kitchen.png"))
    _let_out(workshop, aroma.sitting)
    for me, _heard in people:
        _answer(me, 1, 2, aroma.odd, taps=2)
        _answer(me, 2, 2, aroma.odd)
        me.see("All your 2 answers are kept.")
    for link in aroma.links[3:]:
        _by_hand(aroma, link, aroma.odd)
    assert len(aroma.answers()) == len({which for which, _choice, _guess in aroma.answers()}) == 10

    _search_the_phones(server, aroma, people)
    desk = _desk(server, workshop, phone(1280)[0], "Ada", f"/watch?study={aroma.study}")
    desk.get_by_text("10 of 10 sets answered.").wait_for()
    _open_the_key(desk)
    desk.get_by_text("Detectable.", exact=True).wait_for()
    desk.get_by_text("10 of 10 answers are right; guessing alone finds about 3.").wait_for()
    desk.get_by_text("Next: if it is to be noticed, keep this dose and sign.").wait_for()
    desk.get_by_text("It does not show that Mentha spicata is permitted").wait_for()
    desk.locator("svg.marks, canvas").first.wait_for()
    _read_the_verdict(server, aroma, phone, tmp_path)


def test_a_duo_trio_sitting_that_cannot_tell(server: Any, workshop: Any, begin: Any, hands: Any, phone: Any) -> None:
    """The reference cannot be picked; five of ten right settles nothing, and the desk names ways to an answer."""
    aroma = begin(method="duo-trio", nameable=True, note="balm")

    def same(codes: tuple[str, ...]) -> str:
        return next(code for code in codes[1:] if aroma.boxes[code] == aroma.boxes[codes[0]])

    def other(codes: tuple[str, ...]) -> str:
        return next(code for code in codes[1:] if code != same(codes))

    me, _heard = hands()
    me.page.goto(f"{server.url}/join/{aroma.links[0].code}")
    me.press("I have read this, start")
    me.see("Trial 1 of 2")
    codes = _codes(me)
    assert len(codes) == 3
    assert me.page.get_by_role("radio").count() == 2
    assert me.page.get_by_role("radio", name=codes[0]).count() == 0
    me.press("Keep my answer")
    me.see("Pick one first. A guess is fine.")
    assert aroma.answers() == []
    _answer(me, 1, 2, same)
    me.see("Trial 2 of 2")
    _pick(me, other(_codes(me)))
    me.page.get_by_role("button", name="it was a guess").click()
    me.see("All your 2 answers are kept.")
    assert [guess for _set, _choice, guess in aroma.answers()] == [False, True]
    for number, link in enumerate(aroma.links[1:]):
        _by_hand(aroma, link, same if number % 2 else other)

    desk = _desk(server, workshop, phone(1280)[0], "Ada", f"/watch?study={aroma.study}")
    _open_the_key(desk)
    desk.get_by_text("5 of 10 answers are right; guessing alone finds about 5.").wait_for()
    desk.get_by_text("What an answer would cost").wait_for()
    desk.get_by_text("asking which of three has more of it").first.wait_for()
    desk.get_by_text("answers if nobody notices").wait_for()
    desk.get_by_text("Next: plan a new study with more people").wait_for()


def test_an_answer_without_a_line_waits_and_goes_out_once(server: Any, begin: Any, hands: Any, line: Any) -> None:
    """Kept while the line is cut, the answer survives a wait and a second tap, and is in the store once."""
    aroma = begin()
    me, _heard = hands()
    me.page.goto(f"{line.url}/join/{aroma.links[0].code}")
    me.press("I have read this, start")
    me.see("Trial 1 of 2")
    code = _codes(me)[1]
    _pick(me, code)
    line.set("cut")
    keep = me.page.get_by_role("button", name=f"Keep {code}", exact=True)
    keep.click()
    me.see("No connection. Your answer waits on this phone and goes out by itself.")
    keep.click(force=True)
    assert aroma.answers() == []
    line.set("pass")
    me.see("Trial 2 of 2")
    assert [(choice, guess) for _set, choice, guess in aroma.answers()] == [((code,), False)]


HELD = "40 g per kg, 30 min"
STEPS = {"Botanical name": "What is in the cups", "Contains: every ingredient, allergens named": "Who tastes"}
FIELDS = (
    ("What shall this study decide?", "Is mint noticed after 15 minutes?"),
    ("Botanical name", PLANT),
    ("Part of the plant", "dried leaf"),
    ("Supplier, who sells it as food", "Herb house"),
    ("Lot", "L7"),
    ("How the hot air carried it in", "20 g per kg, 15 min, air 55 °C"),
    ("Contains: every ingredient, allergens named", "cocoa, cane sugar"),
    ("Cleared as food by, name", "Cleo"),
)


def _settle(desk: Any) -> None:
    desk.wait_for_timeout(250)
    desk.locator('[data-test-script-state="notRunning"]').wait_for(timeout=20000)


def test_a_plan_is_written_and_sealed_at_the_desk(server: Any, workshop: Any, phone: Any, tmp_path: Path) -> None:
    """From the list of studies to the seal: the question in plain words, a proposal taken over, the rule read once."""
    desk = _desk(server, workshop, phone(1280)[0], "Ada", "/")
    desk.locator("label", has_text="Is an infused aroma noticed?").click()
    desk.get_by_label("Name of a new study").fill("Mint, 15 min")
    desk.get_by_role("button", name="Plan a study").click()
    desk.get_by_text("Plan: Mint, 15 min").wait_for()
    for label, text in FIELDS:
        if label in STEPS:
            open_step(desk, STEPS[label])
        field = desk.get_by_label(label, exact=True)
        field.fill(text)
        field.press("Tab")
        _settle(desk)
    desk.get_by_role("combobox", name="Assessors").scroll_into_view_if_needed()
    _settle(desk)  # a list of choices closes when the page moves under it
    for link in workshop.links:
        option = desk.get_by_role("option", name=link.pseudonym, exact=True)
        while not option.count():  # the page may still move once more on a busy machine
            desk.get_by_role("combobox", name="Assessors").click()
            desk.wait_for_timeout(500)
        option.click()
        _settle(desk)
    desk.get_by_role("combobox", name="Assessors").press("Escape")
    for label, text in (("Rest between sets, minutes", "0"), ("What is in it", HELD)):
        if text == HELD:
            next_step(desk, "The test: how many, and how sure")
            desk.get_by_text("never “close enough”").first.wait_for()
            desk.locator("label", has_text="a stronger infusion").click()
            _settle(desk)
        field = desk.get_by_label(label, exact=True)
        field.fill(text)
        field.press("Tab")
        _settle(desk)
    desk.get_by_role("button", name="Use this test").click()
    _settle(desk)
    desk.get_by_text("The marks, sealed with the rule").wait_for()
    desk.get_by_text("of 100 studies").first.wait_for()
    next_step(desk, "When")
    desk.get_by_label("Infusing planned at").first.wait_for()
    desk.get_by_text("found from 6 right").first.wait_for()
    desk.screenshot(path=str(tmp_path / "planned.png"), full_page=True)
    _settle(desk)
    desk.get_by_role("button", name="Seal and make codes").click()
    dialog = desk.get_by_role("dialog")
    dialog.get_by_text("This is about taste only").wait_for()
    dialog.get_by_text(f"stronger infusion, {HELD}; 9 sets, always after the other sets of a sitting").wait_for()
    dialog.get_by_role("textbox").fill("Mint, 15 min")
    dialog.get_by_role("button", name="Seal the rule").click()
    desk.get_by_text("Seal of the record after").wait_for()
    desk.screenshot(path=str(tmp_path / "sealed.png"), full_page=True)
    sealed = next(one for one in planning.studies(workshop.store, workshop.leader) if one.plan.title == "Mint, 15 min")
    assert (sealed.kind, sealed.state) == ("aroma", "sealed")
    assert sealed.plan.botanical == Botanical(PLANT, "dried leaf", "Herb house", "L7")
    assert len(sealed.plan.assessors) == 5
    assert len(preparing.sittings(workshop.store, workshop.leader, sealed.id)) == sealed.plan.sittings
    assert sealed.plan.control == Control("stronger", HELD, 9)
    _taste_the_first_cup(workshop, sealed.id)
    closing.open_key(workshop.store, workshop.leader, sealed.id, "Ada")
    desk.goto(f"{server.url}/decide?study={sealed.id}")
    desk.get_by_text("Cannot tell: the control was not found.", exact=True).wait_for()
    desk.get_by_text("not found: that takes 6 or more").first.wait_for()
    desk.locator("svg.marks, canvas").first.wait_for()
    desk.screenshot(path=str(tmp_path / "verdict.png"), full_page=True)
    printed = desk.context.request.get(f"{server.url}/print/report/{sealed.id}").body()
    (tmp_path / "report.pdf").write_bytes(printed)
    assert "Cannot tell: the control was not found." in flowing(printed)


def _taste_the_first_cup(workshop: Any, study: str) -> None:
    """Everybody picks the first cup of every set: of 15 triangles, each of six orders twice, and three more, 4 to 6 are
    right, and of 9 with the control 2 to 4, never the 6 that find it (P(X >= 6 | 9, 1/3) = .042)."""
    for sitting in preparing.sittings(workshop.store, workshop.leader, study):
        _let_out(workshop, sitting)
        watching.open_sitting(workshop.store, workshop.leader, sitting.id)
        links = joining.issue_links(workshop.store, workshop.leader, sitting.id)
        for link in links:
            _by_hand(Aroma(workshop, study, sitting, links, {}), link, lambda codes: codes[0])
        watching.close_sitting(workshop.store, workshop.leader, sitting.id)


def test_a_second_page_cannot_change_a_kept_answer(server: Any, begin: Any, hands: Any) -> None:
    """The same phone with two pages: the answer kept first stands, and the other page says so and moves on."""
    aroma = begin()
    me, _heard = hands()
    me.page.goto(f"{server.url}/join/{aroma.links[0].code}")
    me.press("I have read this, start")
    me.see("Trial 1 of 2")
    first, _second, third = _codes(me)
    late = type(me)(me.page.context.new_page())
    late.page.goto(server.url)
    late.see("Trial 1 of 2")
    _pick(late, third)
    _answer(me, 1, 2, lambda _codes: first)
    late.press(f"Keep {third}")
    late.see("Kept already at")
    late.press("Show where I am")
    late.see("Trial 2 of 2")
    assert [choice for _set, choice, _guess in aroma.answers()] == [(first,)]


def test_the_page_of_a_set_has_no_barrier(server: Any, begin: Any, hands: Any, tmp_path: Path) -> None:
    """axe-core (WCAG 2.2 AA) finds nothing on a set, in light and dark; codes and buttons are large enough."""
    aroma = begin()
    for scheme, link in zip(("light", "dark"), aroma.links, strict=False):
        me, _heard = hands(390, scheme)
        me.page.goto(f"{server.url}/join/{link.code}")
        me.press("I have read this, start")
        me.see("Trial 1 of 2")
        _pick(me, _codes(me)[2])
        me.page.screenshot(path=str(tmp_path / f"set-{scheme}.png"), full_page=True)
        assert _barriers(me.page) == []
        heights = [box.bounding_box()["height"] for box in me.page.locator(".pickable").all()]
        assert min(heights) >= 84
        assert me.page.evaluate("document.documentElement.scrollWidth") <= 390


def _alone_by_hand(aroma: Aroma, link: JoinLink, code_of: Callable[[tuple[str, ...]], str]) -> None:
    """As `_by_hand`, with pieces eaten one by one; their moments are waited for."""
    store = aroma.workshop.store
    token = joining.join(store, link.code, "10.0.0.7", None)
    tasting.agree(store, token)
    while (here := tasting.place(store, token)).kind != "done":
        if here.kind == "trial":
            trying.keep_choice(store, token, here.trial or "", (code_of(here.cups),), False, secrets.token_hex(12))
        elif here.kind == "piece":
            with contextlib.suppress(NotAllowed):
                trying.take_step(store, token, here.trial or "", 2 * here.piece - (not here.ready_at), 0.0)
        time.sleep(0.05)


def _eat(me: Any, number: int, which: str) -> str:
    """One piece, eaten and noticed at its moment; its code."""
    me.see(f"Trial {number} of 2, {which} piece")
    code = str(me.page.locator(".code").first.inner_text())
    me.press("It is gone")
    me.see("Now: is any mint still there?")
    me.press("I have noticed")
    return code


def test_an_aftertaste_from_the_first_piece_to_the_report(
    server: Any, workshop: Any, begin: Any, hands: Any, phone: Any, tmp_path: Path
) -> None:
    """Each piece is eaten alone and noticed at its moment, through a reload and a phone that slept; named by everybody
    at the last time, it is still found there, and the report says so."""
    aroma = begin(
        aim="aftertaste", method="two-alternative", nameable=True, note="mint", batches=(1, 2), rest_seconds=2,
        trials_each=1, most_g_a_day=18.0,
    )  # fmt: skip
    with workshop.store.read() as tx:
        treated = {box.letter for box in trials.boxes(tx, aroma.study) if not box.plain}

    def stays(codes: tuple[str, ...]) -> str:
        return next(code for code in codes if aroma.boxes[code] in treated)

    others = [threading.Thread(target=_alone_by_hand, args=(aroma, link, stays)) for link in aroma.links[1:]]
    for other in others:
        other.start()
    me, heard = hands()
    me.page.goto(f"{server.url}/join/{aroma.links[0].code}")
    me.see("Each is eaten alone and noticed once")
    me.press("I have read this, start")
    me.see("Trial 1 of 2, first piece")
    assert _barriers(me.page) == []
    me.page.screenshot(path=str(tmp_path / "eat.png"), full_page=True)
    first = _codes(me)[0]
    me.press("It is gone")
    me.see("Wait for its moment")
    me.page.reload()
    me.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    me.see("Now: is any mint still there?")
    me.page.get_by_role("status").filter(has_text="Now: is any mint still there?").wait_for()
    assert _barriers(me.page) == []
    me.page.screenshot(path=str(tmp_path / "now.png"), full_page=True)
    me.press("I have noticed")
    me.see("Rest, then the second piece of trial 1")
    me.press("Next piece")
    pieces = (first, _eat(me, 1, "second"))
    me.see("After which piece was more mint still there, at its moment?")
    assert _codes(me) == pieces
    me.page.screenshot(path=str(tmp_path / "ask.png"), full_page=True)
    _answer(me, 1, 2, stays)
    me.press("Next piece")
    _eat(me, 2, "first")
    me.press("Next piece")
    _eat(me, 2, "second")
    _answer(me, 2, 2, stays)
    me.see("No more than 18 g a day were planned for one person.")
    assert not heard.outside(server.url)
    for other in others:
        other.join()

    desk = _desk(server, workshop, phone(1280)[0], "Ada", f"/watch?study={aroma.study}")
    desk.get_by_text("10 of 10 sets answered.").wait_for()
    _open_the_key(desk)
    desk.get_by_text("Still found after 2 seconds, the last tasted.").first.wait_for()
    desk.get_by_text("How many truly notice, second after second?").wait_for()
    desk.screenshot(path=str(tmp_path / "verdict.png"), full_page=True)
    paper = desk.request.get(f"{server.url}/print/report/{aroma.study}")
    assert "Still found after 2 seconds" in flowing(paper.body())
