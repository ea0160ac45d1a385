"""What the list of studies and the rows of a sitting say, from records alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from studyapp import registry
from studyapp.components import look, sitting_rows, study_list, study_search
from studyapp.components.moments import countdown, minutes_since
from studyapp.kinds.aroma.pages.cups import read_counts, read_numbers
from studyapp.kinds.aroma.plan import AromaPlan, Botanical
from studyapp.kinds.hours import findings
from studyapp.kinds.hours.files import rules
from studyapp.kinds.hours.pages import rule_fields
from studyapp.kinds.hours.pages.question import read_hours
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.pictures.theme import PAPER, SCREENS
from studyapp.records import Progress, Seated, Sitting, SittingState, Study, Tray

NOW = datetime(2026, 11, 24, 10, 52, 0, tzinfo=UTC)
SITTING = Sitting("s1", "x", 1, "Tasting 1", "open")


def _study(state: str) -> HoursStudy:
    return Study("x", "hours", HoursPlan("Dark"), state, "2026-11-17T16:05:00Z")  # type: ignore[arg-type]


# ---- studies -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("state", "sittings", "group", "page"),
    [
        ("draft", (), "now", "plan"),
        ("sealed", ("planned", "planned"), "later", "watch"),
        ("sealed", ("closed", "planned"), "later", "watch"),
        ("sealed", ("open", "planned"), "now", "watch"),
        ("sealed", ("paused",), "now", "watch"),
        ("sealed", ("closed", "closed"), "now", "open_key"),
        ("opened", (), "now", "decide"),
        ("decided", (), "closed", "decide"),
    ],
)
def test_a_study_asks_for_one_step(state: str, sittings: tuple[SittingState, ...], group: str, page: str) -> None:
    listed = [replace(SITTING, id=str(number), state=each) for number, each in enumerate(sittings)]
    here = study_list.step(_study(state), listed)
    assert (here.group, here.page) == (group, page)


@pytest.mark.parametrize(
    ("document", "line"),
    [
        ({"verdict": "stop", "hours": 12.0}, "Stop at 12 hours."),
        ({"verdict": "stop", "hours": 12.0, "latest_hours": 24.0, "reference_hours": 24.0}, "Stop at 12 hours."),
        (
            {"verdict": "stop", "hours": 12.0, "latest_hours": 16.0, "reference_hours": 24.0},
            "Conche between 12 and 16 hours.",
        ),
        (
            {"verdict": "stop", "hours": 12.0, "latest_hours": 12.0, "reference_hours": 24.0},
            "Stop at 12 hours, not later.",
        ),
        ({"verdict": "conche longer", "hours": None}, "Conche longer."),
        ({"verdict": "no hour fits", "hours": None}, "No hour served fits."),
        ({"verdict": "cannot tell", "hours": None}, "Cannot tell."),
        ({}, ""),
    ],
)
def test_a_decided_study_says_its_verdict(document: dict[str, object], line: str) -> None:
    assert findings.kept_line(HoursPlan("Dark"), document) == line


# ---- a sitting -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("seat", "words"),
    [
        (Seated("Heron", "nothing", 0, 6), "has not opened the link yet"),
        (Seated("Heron", "serving", 3, 6, since="2026-11-24T10:50:00Z"), "tasting serving 4, since 2 min"),
        (Seated("Heron", "serving", 3, 6, since="2026-11-24T10:51:30Z"), "tasting serving 4"),
        (Seated("Heron", "trial", 1, 3, since="2026-11-24T10:50:00Z"), "tasting set 2, since 2 min"),
        (Seated("Heron", "rest", 4, 6, ready_at="2026-11-24T10:53:40Z"), "resting, 1:40 left"),
        (Seated("Heron", "waiting", 5, 6, waits_for_tray=6), "waits for tray 6"),
        (Seated("Heron", "waiting", 0, 6, waits_for_tray=0), "waits for tray warm-up"),
        (
            Seated("Heron", "waiting", 5, 6, since="2026-11-24T10:48:00Z", waits_for_tray=6),
            "waits for tray 6, since 4 min",
        ),
        (Seated("Heron", "serving", 3, 6, called="code reported"), "holds a code that is not on the page"),
        (Seated("Heron", "serving", 3, 6, silent=6), "phone silent for 6 min"),
        (Seated("Heron", "done", 6, 6), "done"),
    ],
)
def test_where_a_person_is_in_words(seat: Seated, words: str) -> None:
    assert sitting_rows.where(seat, NOW) == words


def test_dots_say_saved_now_and_to_come_in_shape_and_in_words() -> None:
    drawn = sitting_rows.dots(Seated("Heron", "serving", 3, 6))
    assert drawn.count('class="saved"') == 3
    assert drawn.count('class="now"') == 1
    assert drawn.count('class="open"') == 2
    assert 'aria-label="3 of 6 saved"' in drawn


def test_a_sitting_in_a_sentence() -> None:
    resting = Seated("Heron", "rest", 2, 3)
    waiting = Seated("Lark", "waiting", 2, 3, waits_for_tray=3)
    progress = Progress(SITTING, (resting, waiting), (), 4, 6, 0)
    assert sitting_rows.summary(progress) == "4 of 6 servings saved. 1 person rests. 1 person waits for a tray."
    stopped = Seated("Lark", "stopped", 3, 3, missing=2)
    said = sitting_rows.summary(Progress(SITTING, (stopped,), (), 3, 3, 0, 2))
    assert said == "1 of 3 servings saved. 2 stay missing."
    assert 'aria-label="1 of 3 saved"' in sitting_rows.dots(stopped)
    assert sitting_rows.dots(stopped).count('class="missing"') == 2
    asleep = Progress(SITTING, (Seated("Heron", "nothing", 0, 3),), (), 0, 3, 0)
    assert sitting_rows.summary(asleep) == "Nobody has opened the link yet."


def test_a_tray_that_somebody_waits_for_is_due() -> None:
    waiting = Seated("Lark", "waiting", 2, 3, waits_for_tray=3, look=True)
    trays = (Tray("s1", 2, (), "2026-11-24T10:40:00Z"), Tray("s1", 3, ()), Tray("s1", 4, ()))
    drawn = sitting_rows.trays(Progress(SITTING, (waiting,), trays, 2, 3, 1))
    assert drawn.count("due now") == 1
    assert drawn.index("Tray 3") < drawn.index("due now") < drawn.index("Tray 4")
    assert "1 noted" in drawn


def test_clocks_count_from_kept_times() -> None:
    assert minutes_since("2026-11-24T10:41:30Z", NOW) == 10
    assert minutes_since(None, NOW) == 0
    assert countdown("2026-11-24T10:51:00Z", NOW) == "0:00"


# ---- fields ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("typed", ["0, 4.5, 24", "24 0 4.5", " 0;4.5 ; 24,"])
def test_pulls_are_read_however_they_are_separated(typed: str) -> None:
    assert read_hours(typed) == (0.0, 4.5, 24.0)


@pytest.mark.parametrize("typed", ["0, 1e9", "0, nan", "0, inf", "0, -4, 8"])
def test_hours_that_no_run_has_are_refused_before_a_clock_time_is_told(typed: str) -> None:
    with pytest.raises(ValueError, match="between 0 and 1000"):
        read_hours(typed)


def test_doses_are_numbers_and_batches_are_counted() -> None:
    assert read_numbers("5; 2.5 10") == [5.0, 2.5, 10.0]
    assert read_counts("1, 2; 3") == [1, 2, 3]


@pytest.mark.parametrize("typed", ["2,5; 5; 10", "2,5, 5, 10", "2,5 5 10", "2,5"])
def test_a_comma_between_two_digits_is_asked_about(typed: str) -> None:
    """A decimal comma and a separator look alike; nothing is guessed that can be asked."""
    with pytest.raises(ValueError, match=r"is “2,5” one number or two\? Write 2\.5 or 2, 5"):
        read_numbers(typed)
    assert read_numbers("5,10,20,40") == [5.0, 10.0, 20.0, 40.0]


@pytest.mark.parametrize("typed", ["5, nan", "inf", "5, ten"])
@pytest.mark.parametrize("read", [read_numbers, read_counts])
def test_a_dose_or_batch_that_is_no_number_is_named(read: Callable[[str], object], typed: str) -> None:
    with pytest.raises(ValueError, match=f"“{typed.split()[-1]}” is not a number"):
        read(typed)


def test_half_a_batch_is_not_taken_for_a_whole_one() -> None:
    with pytest.raises(ValueError, match=r"“1\.5” is not a whole number"):
        read_counts("1, 1.5")


def test_a_typed_rule_is_the_rule_of_its_file() -> None:
    """The text made from the fields goes through the same reader as anybody's rule file."""
    typed = [
        rule_fields.TypedLine('sour "bite"', "lower", 0.8, 4.5),
        rule_fields.TypedLine("cocoa", "higher", 1.0, None),
    ]
    rule = rules.read_rule("RULE.toml", rule_fields.toml(typed, np.float64(4.0)))
    assert rule.control == 4.0
    assert rule.attributes['sour "bite"'].limit == 4.5
    assert rule.attributes['sour "bite"'].margin == 0.8
    assert rule.attributes["cocoa"].wanted == "higher"
    assert (rule.alpha, rule.looks) == (0.05, 1)


# ---- markup ----------------------------------------------------------------------------------------------------------
def test_every_piece_escapes_what_people_typed() -> None:
    nasty = '<img src=x onerror="go()">'
    pieces = [
        look.text(nasty),
        look.title(nasty),
        look.crumb(nasty, nasty),
        look.chip("disc", nasty),
        look.facts([(nasty, nasty, nasty)]),
        look.table([nasty, nasty], [[nasty, nasty]]),
        look.bullets([nasty]),
        look.bar(nasty, nasty, 0.5),
        look.steps([(nasty, nasty, nasty)]),
        look.act(nasty, nasty),
        look.box("copper", nasty),
        look.plain(nasty),
        look.strong(nasty),
    ]
    assert all("<img" not in piece and 'onerror="' not in piece for piece in pieces)


def test_a_shape_never_stands_without_its_word() -> None:
    assert look.chip("cross", "not shown", "copper").endswith("not shown</span>")


def test_the_style_sheet_stays_small_and_uses_no_generated_name() -> None:
    """Generated class names change with every release of the framework."""
    sheet = look.style(SCREENS["light"])
    assert "emotion" not in sheet
    assert "data-testid" not in sheet
    assert len(sheet.encode()) < 20_000


# ---- contrast: WCAG 2.2, 1.4.3 and 1.4.11 -----------------------------------------------------------------------
def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark", "paper"])
def test_colours_keep_their_contrast(theme: str) -> None:
    ink = {**SCREENS, "paper": PAPER}[theme].colours()
    for ground in ("page", "card"):
        for words in ("ink", "quiet", "patina_text", "copper", "brick"):
            assert _contrast(ink[words], ink[ground]) >= 4.5, (words, ground)
        for shape in ("edge", "patina"):
            assert _contrast(ink[shape], ink[ground]) >= 3.0, (shape, ground)
    for words, ground in (("copper", "copper_wash"), ("brick", "brick_wash"), ("patina_text", "patina_wash")):
        assert _contrast(ink[words], ink[ground]) >= 4.5, (words, ground)
    for words in ("quiet", "patina_text"):
        assert _contrast(ink[words], ink["band"]) >= 4.5, words
    assert _contrast("#FFFFFF", ink["patina"]) >= 4.5


# ---- aroma studies -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("plan", "line"),
    [
        (AromaPlan("Mint"), "Nothing planned yet but the name."),
        (AromaPlan("Mint", assessors=("a", "b")), "Aroma of a plant still to name, 2 assessors so far."),
        (AromaPlan("Mint", botanical=Botanical("Mentha spicata")), "Aroma of Mentha spicata, 0 assessors so far."),
    ],
)
def test_a_draft_about_an_aroma_says_what_is_there(plan: AromaPlan, line: str) -> None:
    study = Study("x", "aroma", plan, "draft", "2026-11-17T16:05:00Z")
    assert study_list.step(study, (), registry.findings("aroma").draft_line(plan)).line == line


# ---- many studies ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("asked", "found"),
    [("", True), ("dark", True), ("LOT 14", True), ("14 dark", True), ("milk", False), ("dark milk", False)],
)
def test_a_study_is_found_by_any_words_of_its_plan(asked: str, found: bool) -> None:
    plan = HoursPlan("Spring", recipe="Dark 72 %", batch="lot 14", machine="the tall conche")
    assert study_search.says(plan, asked) is found
