"""Pictures as SVG: the same bytes each time, our typeface and no other, black and grey, nothing outside the frame."""

from __future__ import annotations

import http.server
import re
import threading
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import pytest

from analysis.choice import forced_choice, sequential
from studyapp.assets import FAMILY
from studyapp.kinds.aroma.pictures.choice import noticing, ruler
from studyapp.kinds.aroma.pictures.rounds import by_round
from studyapp.kinds.hours.findings.scale import shared_scale
from studyapp.kinds.hours.pictures import worsening
from studyapp.pictures import marks, paper
from studyapp.pictures.theme import PAPER
from tests.kinds.hours.decisions import ACIDITY, attribute, every_kind

NAMESPACE = "{http://www.w3.org/2000/svg}"
KINDS = every_kind()


def some_pictures() -> dict[str, tuple[marks.Picture, int]]:
    """Pictures of several shapes with the width each has on paper, px."""
    acidity = attribute("acidity", ACIDITY, limit=5.0)
    triangles = forced_choice.judge_totals("triangle", 36, 21, 0.05, 0.3)
    sealed = sequential.plan("triangle", 0.05, 0.05, 0.5, 36, 6)
    early = sequential.judge(sealed, [[1, 1, 1, 0, 0, 0], [1, 1, 1, 1, 1, 1]])
    return {
        "hours": (worsening(acidity, shared_scale([acidity]), PAPER), paper.THIRD),
        "ruler": (ruler(triangles, 12.0, PAPER), paper.WHOLE),
        "noticing": (noticing(triangles, PAPER), paper.WHOLE),
        "rounds": (by_round(early, PAPER), paper.WHOLE),
    }


PICTURES = some_pictures()


def _svg(picture: marks.Picture, width: int) -> str:
    return paper.svgs([picture], width)[0]


@pytest.fixture(params=PICTURES)
def drawn(request: pytest.FixtureRequest) -> str:
    """One picture as SVG."""
    return _svg(*PICTURES[request.param])


# ---- the same bytes ----------------------------------------------------------------------------------------------
def test_the_same_picture_gives_the_same_bytes_twice_and_in_two_processes() -> None:
    """Neither a clock nor a counter nor the order of a hash gets in; each process has its own seed of hashes."""
    for picture, width in PICTURES.values():
        first, second = paper.svgs([picture, picture], width)
        assert first == second
    before = [_svg(*each) for each in PICTURES.values()]
    paper._CONVERTER.end()
    assert [_svg(*each) for each in PICTURES.values()] == before


# ---- what is in it -----------------------------------------------------------------------------------------------
def test_words_stay_text_in_our_typeface_and_no_other(drawn: str) -> None:
    """The two families are the two subsets of one typeface; the typesetter embeds them and looks no further."""
    families = set(re.findall(r'font-family="([^"]*)"', drawn))
    assert families == {f"{FAMILY}, {FAMILY} Ext"}
    texts = list(ElementTree.fromstring(drawn).iter(f"{NAMESPACE}text"))
    assert texts
    assert all(text.attrib["font-family"] in families for text in texts)


def test_ink_is_black_or_grey(drawn: str) -> None:
    """Every colour named has three equal parts; the only fills are black, white and the band."""
    named = {value for _name, value in re.findall(r'\b(fill|stroke)="([^"]*)"', drawn)} - {"none", "transparent"}
    assert "#000000" in named
    assert all(re.fullmatch(r"#([0-9A-F]{2})\1\1", colour) for colour in named), named
    fills = set(re.findall(r'\bfill="(#[^"]*)"', re.sub(r"<text[^>]*>", "", drawn)))
    assert fills <= {"#000000", "#FFFFFF", PAPER.band}


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_drawn_outside_the_picture(kind: str) -> None:
    """Words begin and end inside, whatever the numbers; a letter is taken as 0.62 of its size, more than any digit."""
    results = [result for result in KINDS[kind].attributes.values() if result.judged and len(result.pulls) > 1]
    pictures = [worsening(result, shared_scale(results), PAPER) for result in results]
    for root in map(ElementTree.fromstring, paper.svgs(pictures, paper.THIRD)):
        for text, x, y in _placed(root):
            width = 0.62 * 13 * len(text.text or "")
            left = x - {"end": width, "middle": width / 2}.get(text.attrib.get("text-anchor", ""), 0.0)
            assert left >= -2, text.text
            assert left + width <= paper.THIRD + 4, text.text
            assert 0 < y <= float(root.attrib["height"])


def _placed(element: ElementTree.Element, x: float = 0.0, y: float = 0.0) -> list[tuple[Any, float, float]]:
    """Every text with its place, the shifts of its groups added up, px."""
    shift = re.match(r"translate\(([-\d.]+),([-\d.]+)\)", element.attrib.get("transform", ""))
    if shift:
        x, y = x + float(shift[1]), y + float(shift[2])
    own = [(element, x, y)] if element.tag == f"{NAMESPACE}text" else []
    return own + [placed for child in element for placed in _placed(child, x, y)]


def test_hours_lie_at_their_true_distance() -> None:
    """0, 4, 8, 12, 16, 24 h: the last step is twice as wide as the others; ticks are set to whole pixels."""
    root = ElementTree.fromstring(_svg(*PICTURES["hours"]))
    hours = {text.text: x for text, x, _y in _placed(root) if text.text in {"0", "4", "8", "12", "16", "24"}}
    at = [hours[name] for name in ("4", "8", "12", "16", "24")]
    steps = [after - before for before, after in pairwise(at)]
    assert steps[:3] == pytest.approx([steps[0]] * 3, abs=1.01)
    assert steps[3] == pytest.approx(2 * steps[0], abs=1.01)


def test_words_like_markup_stay_words() -> None:
    """What a person typed reaches the picture as text."""
    hostile = "<b>&amp; \"quoted\" 'x' $5"
    frame = marks.Frame(PAPER, (0, 1), (0, 1), (0, 1), (0, 1), hostile, x_names={0: hostile, 1: "b\\"})
    drawn = _svg(frame.picture([marks.words(hostile, 0.5, 0.5, PAPER.ink)], 200), paper.WHOLE)
    texts = [text.text for text in ElementTree.fromstring(drawn).iter(f"{NAMESPACE}text")]
    assert texts.count(hostile) == 3
    assert "b\\" in texts


def test_no_pictures_are_no_work_and_a_refused_one_leaves_the_next_alone() -> None:
    """A study of one pull has no picture; a picture that is none is an error of ours, not the end of printing."""
    assert paper.svgs([], paper.THIRD) == []
    with pytest.raises(RuntimeError, match="refused"):
        paper.svgs([{"layer": 1}], paper.THIRD)
    assert _svg(*PICTURES["hours"]).startswith("<svg")


# ---- no network --------------------------------------------------------------------------------------------------
def test_the_converter_fetches_nothing() -> None:
    """A picture that names an address is refused before anybody is asked; ours hold their rows themselves."""
    asked: list[str] = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_arguments: object) -> None:
            return

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listener) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        picture, width = PICTURES["hours"]
        away = {"data": {"url": f"http://127.0.0.1:{server.server_port}/rows.json"}}
        layers = [{**picture["layer"][0], **away}, *picture["layer"][1:]]
        with pytest.raises(RuntimeError, match=r"rows\.json"):
            _svg({**picture, "layer": layers}, width)
        server.shutdown()
    assert asked == []
