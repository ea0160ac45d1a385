"""A whole study in real browsers: a leader, a preparer and three assessors at once, from the plan to the verdict."""

from __future__ import annotations

import random
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Mark
from studyapp.services import accounts, closing, joining, planning, preparing, tasting, watching
from tests.conftest import another_leader, own_passphrase

pytestmark = pytest.mark.browser
AXE = Path(__file__).with_name("axe.min.js")
TITLE = "Dark 72 %, lot 14"
# What each pull tastes like, as a share of the line: the middle one is as good as the last.
TASTE = {0.0: 0.8, 12.0: 0.3, 24.0: 0.3}
# How far a lean of a person shows at each pull: were it the same everywhere, all ballots would have one course, and the
# rule would ask whether they were copied.
LEAN = {0.0: 1.0, 12.0: 0.4, 24.0: 1.3}


class Desk:
    """Somebody at a desk or a bench: a browser with a page, and what such a person does with it."""

    def __init__(self, page: Any, url: str) -> None:
        self.page, self.url = page, url

    def sign_in(self, name: str, passphrase: str) -> None:
        """Fill in the form and wait for the first page."""
        self.page.goto(self.url)
        self.page.get_by_label("Name").fill(name)
        self.page.get_by_label("Passphrase").fill(passphrase)
        self.press("Sign in")
        self.see(name)

    def press(self, name: str) -> None:
        """Press a button or follow a link that looks like one."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def see(self, text: str) -> None:
        """Wait until a text is there."""
        self.page.get_by_text(text).first.wait_for(timeout=60000)

    def type(self, label: str, text: str) -> None:
        """Type into a field and leave it, then wait until the page has taken it."""
        field = self.page.get_by_label(label, exact=True)
        field.fill(text)
        field.press("Tab")
        self.settle()

    def settle(self) -> None:
        """Wait until the page has nothing left to draw."""
        self.page.wait_for_timeout(250)
        self.page.locator('[data-test-script-state="notRunning"]').wait_for(timeout=60000)

    def choose(self, label: str, *options: str) -> None:
        """Choose several options of a list, which closes where the page moves under it: then it is opened again."""
        box = self.page.get_by_role("combobox", name=label)
        box.scroll_into_view_if_needed()
        self.settle()
        for name in options:
            option = self.page.get_by_role("option", name=name, exact=True)
            while not option.count():
                box.click()
                self.page.wait_for_timeout(500)
            option.click()
            self.settle()
        box.press("Escape")

    def shoot(self, folder: Path, name: str) -> None:
        """Keep a picture of the page."""
        self.page.screenshot(path=str(folder / f"{name}.png"))


def open_step(page: Any, name: str) -> None:
    """Open a step of a plan that is folded."""
    step = page.locator("details", has=page.locator("summary", has_text=name)).first
    if step.get_attribute("open") is None:
        step.locator("summary").first.click()
    _folded(page, name)


def next_step(page: Any, name: str) -> None:
    """Go on to a step of a plan by the button below the one before."""
    page.get_by_role("button", name=f"Next: {name}", exact=True).click()
    _folded(page, name)


def _folded(page: Any, name: str) -> None:
    """Wait until a step is open and no other is, so that the page has come to rest."""
    fold = '[class*="st-key-fold-"] > .stExpander > details[open]'
    page.locator(f"{fold} > summary", has_text=name).wait_for()
    page.locator(fold).nth(1).wait_for(state="detached")
    page.wait_for_timeout(400)
    page.locator('[data-test-script-state="notRunning"]').wait_for(timeout=60000)


# ---- one step of the study each ------------------------------------------------------------------------------------
def _write_the_plan(desk: Desk, names: tuple[str, ...]) -> None:
    desk.page.get_by_label("Name of a new study").fill(TITLE)
    desk.press("Plan a study")
    desk.see(f"Plan: {TITLE}")
    desk.type("What shall this study decide?", "From how many hours on is this recipe as good as at 24 h?")
    desk.type("Pulls, hours after hour zero", "0, 12, 24")
    next_step(desk.page, "What is asked, and how much worse is still fine")
    for attribute in ("Acidity", "Bitterness"):
        desk.press("Add the first" if attribute == "Acidity" else "Add an attribute")
        dialog = desk.page.get_by_role("dialog")
        dialog.get_by_label("Name", exact=True).fill(attribute)
        dialog.get_by_role("button", name="Keep it").click()
        dialog.wait_for(state="detached")
        desk.settle()
    next_step(desk.page, "Limits of instruments")
    next_step(desk.page, "Who tastes, and how often")
    desk.choose("Assessors", *names)
    desk.type("Sittings before the key is first opened", "1")
    desk.type("How often the key may be opened", "1")
    next_step(desk.page, "On the table")
    for label, value in (
        ("Rest between pieces, minutes", "0"),
        ("Contains: every ingredient, allergens named", "cocoa, cane sugar, cocoa butter"),
        ("Traces possible: what else is handled on these machines", "milk, hazelnut"),
    ):
        desk.type(label, value)
    desk.page.get_by_text("Serve an unscored warm-up piece first").click()
    desk.settle()


def _seal(desk: Desk) -> str:
    """Seal the rule; returns the hash on the slip."""
    desk.press("Seal and make codes")
    dialog = desk.page.get_by_role("dialog")
    dialog.get_by_text("Acidity decides: less is wanted, at most 1.0 units worse.").wait_for()
    dialog.get_by_role("textbox").fill("another name")
    dialog.get_by_role("button", name="Seal the rule").click()
    dialog.get_by_text("Not sealed").wait_for()
    dialog.get_by_role("textbox").fill(TITLE)
    dialog.get_by_role("button", name="Seal the rule").click()
    desk.see("Seal of the record after")
    return str(desk.page.locator(".mono").first.inner_text())


def _links(desk: Desk) -> dict[str, str]:
    """Open the sitting and make the links: pseudonym to address."""
    desk.press("Go to the sittings")
    desk.press("Open the sitting")
    desk.see("Nobody has opened the link yet.")
    desk.press("Make the links")
    desk.page.locator(".qr img").nth(4).wait_for()
    cards = desk.page.locator('[class*="st-key-card-link-"]')
    squares = desk.page.locator(".qr img").evaluate_all("all => all.map(one => one.complete && one.naturalWidth > 0)")
    assert squares == [True] * 5, "every code to scan is drawn"
    return {card.locator("h3").inner_text(): card.locator(".mono").inner_text() for card in cards.all()}


def _key(bench: Desk) -> dict[str, float]:
    """Read the fill list as the preparer does: code to hours."""
    bench.press("Open the fill list")
    bench.see("How much to set aside")
    bench.settle()
    found = {}
    for row in bench.page.locator(".tablewrap.codes:not(.words) tbody tr").all():
        cells = [cell.strip() for cell in row.locator("th, td").all_text_contents()]
        found[cells[1]] = float(cells[2].removesuffix(" h"))
    return found


def _release_all(bench: Desk, trays: int) -> None:
    bench.type("Second person, who reads the labels of each tray against its sheet", "Cleo")
    for words in ("Cleared as food", "The allergen list", "No bloom"):
        bench.page.locator(".stCheckbox label", has_text=words).click()
        bench.settle()
    for number in range(1, trays + 1):
        bench.page.locator(f".st-key-tray-line-{number} button").click()
        bench.page.locator(f".st-key-tray-line-{number}", has_text="read by Cleo").wait_for(timeout=60000)
    bench.press(f"Release trays 1 to {trays}")
    bench.see(f"{trays} of {trays} trays are out.")


def _taste(me: Any, key: dict[str, float], own: float) -> None:
    """Mark both lines of the serving on this phone as its pull tastes, and go on."""
    code = me.code()
    for line in ("Acidity", "Bitterness"):
        me.touch(line, TASTE[key[code]] + own * LEAN[key[code]])
    me.saved()
    me.press("Next serving")
    me.page.locator(".code", has_text=code).wait_for(state="detached")


def _taste_by_hand(workshop: Any, address: str, key: dict[str, float], own: float) -> None:
    """Somebody without a browser of their own in this test: the same services, the same store."""
    token = joining.join(workshop.store, address.rsplit("/", 1)[1], "10.0.0.7", None)
    tasting.agree(workshop.store, token)
    here = tasting.place(workshop.store, token)
    while here.kind == "serving":
        for line in here.lines:
            value = round(10 * (TASTE[key[here.code]] + own * LEAN[key[here.code]]), 1)
            tasting.keep_mark(workshop.store, token, Mark(here.serving, line.id, value, secrets.token_hex(12)))
        tasting.finish_serving(workshop.store, token, here.serving)
        here = tasting.place(workshop.store, token)


def test_from_the_plan_to_the_verdict(server: Any, workshop: Any, phone: Any, hands: Any, tmp_path: Path) -> None:
    """Five people in five browsers run one study; the record is sound, and no phone ever heard what it tasted."""
    (first, desk_heard), (second, bench_heard) = phone(1280), phone(1280)
    desk, bench = Desk(first, server.url), Desk(second, server.url)
    desk.sign_in(workshop.leader.name, workshop.passphrase)
    bench.sign_in(workshop.preparer.name, workshop.passphrase)
    names = tuple(link.pseudonym for link in workshop.links)
    _write_the_plan(desk, names)
    desk.shoot(tmp_path, "plan")
    seal = _seal(desk)
    links = _links(desk)
    study = next(one for one in planning.studies(workshop.store, workshop.leader) if one.plan.title == TITLE)
    assert study.seal == seal

    bench.page.goto(f"{server.url}/?study={study.id}")
    key = _key(bench)
    _release_all(bench, 3)
    bench.shoot(tmp_path, "prepare")

    people = [hands() for _three in range(3)]
    for (me, _heard), name in zip(people, names, strict=False):
        me.page.goto(links[name])
        me.press("I have read this, start")
    for number in (1, 2, 3):
        for own, (me, _heard) in enumerate(people):
            me.see(f"Serving {number} of 3. Take cup")
            _taste(me, key, own / 40)
    for own, name in enumerate(names[3:]):
        _taste_by_hand(workshop, links[name], key, -own / 50)
    for me, heard in people:
        me.see("All your 6 marks are kept.")
        assert TITLE.encode() not in heard.everything()
        assert not heard.outside(server.url)

    desk.see("15 of 15 servings saved.")
    desk.shoot(tmp_path, "watch")
    desk.press("Close the sitting")
    desk.see("This sitting is closed.")
    desk.press("Open the key")
    desk.page.get_by_label("Why nobody opens it with you").fill("Nobody else leads here.")
    desk.press("Open the key")
    desk.see("Stop at 12 hours.")
    assert desk.page.title() == f"{TITLE}: Decide", "a tab says which study it shows"
    desk.page.locator("svg.marks").first.wait_for()
    axis = set(desk.page.locator("svg.marks").first.locator("text").all_text_contents())
    assert {"0", "12", "24"} <= axis, "the pulls stand under the picture as the hours they are"
    desk.shoot(tmp_path, "verdict")
    decision = deciding.decision(workshop.store, workshop.leader, study.id)
    assert not desk_heard.outside(server.url), "charts, codes and fonts come from this server alone"
    assert not bench_heard.outside(server.url)
    assert (decision.verdict, decision.hours, decision.scope["assessors"]) == ("stop", 12.0, 5)


def test_two_people_sign(server: Any, opened: Any, phone: Any) -> None:
    """The first signature leaves room for one other account; then the study is decided."""
    workshop = opened("stop")
    another_leader(workshop.store, workshop.leader)
    own_passphrase(workshop.store, "Ida", workshop.passphrase, "two sieves in a row")
    hers = Desk(phone(1280)[0], server.url)
    hers.sign_in("Ida", "two sieves in a row")
    for desk, name, role in (
        (_leader(server, workshop, phone(1280)[0]), "Ada", "ran the test"),
        (hers, "Ida", "decides"),
    ):
        desk.page.goto(f"{server.url}/decide?study={workshop.study}")
        desk.see("The key was opened by one person, Ada.")
        desk.press("Sign the decision")
        dialog = desk.page.get_by_role("dialog")
        dialog.get_by_text(f"You sign as {name}.").wait_for()
        dialog.get_by_text(role, exact=True).click()
        dialog.get_by_role("button", name="Sign", exact=True).click()
        dialog.wait_for(state="detached")
        desk.page.get_by_role("button", name="Sign the decision").wait_for(state="detached")
    assert planning.study(workshop.store, workshop.leader, workshop.study).state == "decided"


def test_scores_that_were_tasted_elsewhere(server: Any, workshop: Any, phone: Any, tmp_path: Path) -> None:
    """A table of scores and a rule typed in fields give a verdict; a slip in the table is named by its row."""
    scores = tmp_path / "autumn.csv"
    hours_of = {0: 7.0, 8: 5.2, 16: 3.4, 24: 3.4}
    chance = random.Random(3)
    lines = [
        f"{person},{hours},acidity,{round(chance.gauss(mean, 0.3), 1)}"
        for person in ("Heron", "Lark", "Wren", "Tern", "Siskin", "Teal")
        for hours, mean in hours_of.items()
        for _twice in (1, 2)
    ]
    scores.write_text("\n".join(["assessor,hours,attribute,score", *lines]))
    desk = _leader(server, workshop, phone(1280)[0])
    desk.page.goto(f"{server.url}/bring")
    desk.see("No scores yet.")
    desk.page.locator('input[type="file"]').first.set_input_files(str(scores))
    desk.press("Work out the verdict")
    desk.see("Stop at 16 hours.")
    desk.see("Not sealed: this rule was written with the scores at hand.")
    desk.shoot(tmp_path, "bring")
    scores.write_text("\n".join(["assessor,hours,attribute,score", *lines, "Teal,8h,acidity,4"]))
    desk.page.goto(f"{server.url}/bring")
    desk.page.locator('input[type="file"]').first.set_input_files(str(scores))
    desk.see("autumn.csv")
    desk.see("8h")
    assert desk.page.get_by_role("button", name="Work out the verdict").count() == 0


# ---- the verdict, for every eye ------------------------------------------------------------------------------------
PLAN = HoursPlan(
    title=TITLE,
    question="From how many hours on is this recipe as good as at 24 h?",
    pulls=tuple(Pull(hours) for hours in (0.0, 8.0, 16.0, 24.0)),
    attributes=(Attribute("Acidity", limit=6.0), Attribute("Bitterness"), Attribute("Sweetness", wanted="same")),
    control=0.0,
    looks=2,
    sittings=1,
    rest_seconds=0,
    warm_up=False,
    contains="cocoa, cane sugar",
)
MEANS = {"stop": (7.0, 5.2, 3.5, 3.4), "cannot tell": (7.0, 5.2, 4.6, 3.7)}
SPREAD = {"stop": 0.2, "cannot tell": 0.9}


@pytest.fixture
def plan() -> HoursPlan:
    """The plan that the workshop of these tests seals."""
    return PLAN


@pytest.fixture
def opened(workshop: Any) -> Callable[[str], Any]:
    """A function that lets everybody taste so that a verdict follows, and opens the key."""

    def open_key(verdict: str) -> Any:
        store = workshop.store
        key = preparing.levels_by_code(store, workshop.preparer, workshop.sitting.id)
        means = dict(zip((0.0, 8.0, 16.0, 24.0), MEANS[verdict], strict=True))
        for link in workshop.links:
            token = joining.join(store, link.code, "10.0.0.8", None)
            tasting.agree(store, token)
            here = tasting.place(store, token)
            while here.kind == "serving":
                for line in here.lines:
                    mean = 4.0 if line.name == "Sweetness" else means[key[here.code]]
                    value = round(
                        min(
                            10.0,
                            max(
                                0.0,
                                random.Random(f"{here.pseudonym} {key[here.code]} {line.name}").gauss(
                                    mean, SPREAD[verdict]
                                ),
                            ),
                        ),
                        1,
                    )
                    tasting.keep_mark(store, token, Mark(here.serving, line.id, value, secrets.token_hex(12)))
                tasting.finish_serving(store, token, here.serving)
                here = tasting.place(store, token)
        watching.close_sitting(store, workshop.leader, workshop.sitting.id, "")
        closing.open_key(store, workshop.leader, workshop.study, "Ada")
        return workshop

    return open_key


def _leader(server: Any, workshop: Any, page: Any) -> Desk:
    """A desk that is signed in already."""
    token = accounts.sign_in(workshop.store, workshop.leader.name, workshop.passphrase, "10.0.0.6")
    page.context.add_cookies([{"name": "staff", "value": token, "url": server.url}])
    return Desk(page, server.url)


@pytest.mark.parametrize("verdict", ["stop", "cannot tell"])
def test_the_page_of_a_verdict_has_no_barrier(
    server: Any, opened: Any, phone: Any, tmp_path: Path, verdict: str
) -> None:
    """axe-core (WCAG 2.2 AA and its best practices) finds nothing, on phone and desk, in light and dark."""
    workshop = opened(verdict)
    assert deciding.decision(workshop.store, workshop.leader, workshop.study).verdict == verdict
    for width, scheme in ((390, "dark"), (1280, "light")):
        desk = _leader(server, workshop, phone(width, scheme)[0])
        desk.page.goto(f"{server.url}/decide?study={workshop.study}")
        desk.see("A taste result only.")
        desk.page.get_by_text("The numbers").click()
        desk.settle()
        desk.shoot(tmp_path, f"{verdict}-{width}-{scheme}")
        assert _barriers(desk.page) == []
        wide = desk.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, "nothing scrolls sideways"
        assert _tops(desk.page, '[class*="st-key-card-chart-"]') == (3 if width == 390 else 1), "one column or three"
        heights = desk.page.locator(".stMain button[kind], .stMain a[kind]").evaluate_all(
            "all => all.filter(one => one.offsetParent).map(one => one.getBoundingClientRect().height)"
        )
        assert heights
        assert min(heights) >= 44, "targets for a gloved finger"


def _tops(page: Any, selector: str) -> int:
    """On how many rows these boxes stand."""
    return len(set(page.locator(selector).evaluate_all("all => all.map(one => one.getBoundingClientRect().top)")))


def _barriers(page: Any) -> list[str]:
    """What axe-core minds, as rule and element."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    return [f"{rule['id']}: {node['html'][:160]}" for rule in found["violations"] for node in rule["nodes"]]
