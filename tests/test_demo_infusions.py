"""The invented infusions: every result stands against the truth that its answers were drawn from."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from typing import Any

import pytest

import demo_panels
from analysis.choice.carry_over import Ladder
from analysis.choice.threshold import ThresholdFit
from demo_panels import infusion
from studyapp.kinds.aroma import deciding
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.plan import AromaStudy
from studyapp.records import Staff
from studyapp.services import joining, planning, tasting
from studyapp.store import Store, people
from tests.furnished import furnished

README = (infusion.FOLDER.parent / "README.md").read_text(encoding="utf-8")
SERIES = infusion.series()


@pytest.mark.parametrize("name", SERIES)
def test_the_answers_are_what_truth_and_seed_give(name: str) -> None:
    """Nobody edited an answer by hand."""
    file = infusion.FOLDER / name / "answers.csv"
    assert list(csv.reader(file.read_text(encoding="utf-8").splitlines())) == infusion.rows(name)


@pytest.mark.parametrize("name", SERIES)
def test_the_readme_has_a_row_for_every_series(name: str) -> None:
    """With its truth beside what it shows."""
    assert f"| `{name}` |" in README


def test_the_threshold_from_the_file_holds_the_truth() -> None:
    """The interval that each fails in 5 of 100 studies covers the 12 minutes that were put in."""
    panel, truth = infusion.settings("minutes"), infusion.settings("minutes", "truth.toml")
    fitted = forced_choice.threshold_file(
        panel["method"], infusion.FOLDER / "minutes" / "answers.csv", 0.05, uneven=False
    )
    low, high = panel["expected"]["estimate_between"]
    assert low < (fitted.estimate.value or math.nan) < high
    assert (fitted.low.value or 0) < truth["threshold"] < (fitted.high.value or math.inf)
    assert fitted.warnings == ()


def test_the_ladder_from_the_file_says_what_is_true() -> None:
    """Found where most notice it, clean where nobody does."""
    panel, truth = infusion.settings("plain_batches"), infusion.settings("plain_batches", "truth.toml")
    file = infusion.FOLDER / "plain_batches" / "answers.csv"
    found, _aim = forced_choice.ladder_file(panel["method"], file, panel["pd_limit"], 0.05, uneven=False)
    expected = panel["expected"]
    assert (found.detected_through, found.clean_from_all_tasted) == (
        expected["detected_through"],
        expected["clean_from"],
    )
    assert min(truth["noticed"][: expected["detected_through"]]) > 0
    assert max(truth["noticed"][expected["clean_from"] - 1 :]) < panel["pd_limit"]


# ---- in a store ----------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The whole invented workshop."""
    store, _nothing = furnished(tmp_path_factory.mktemp("infusions") / "store.sqlite", demo_panels.load)
    yield store
    store.close()


@pytest.fixture(scope="module")
def leader(workshop: Store) -> Staff:
    """The invented panel leader."""
    with workshop.read() as tx:
        found = people.staff_by_role(tx, "leader")
    assert found is not None
    return found


def _study(store: Store, leader: Staff, title: str) -> AromaStudy:
    found: Any = next(one for one in planning.studies(store, leader) if one.plan.title == title)
    assert found.kind == "aroma"
    assert found.example
    return found


@pytest.mark.parametrize("name", SERIES)
def test_a_study_in_the_store_has_the_result_of_its_file(name: str, workshop: Store, leader: Staff) -> None:
    """The same answers give the same result, whatever orders the seal dealt."""
    panel, file = infusion.settings(name), infusion.FOLDER / name / "answers.csv"
    study = _study(workshop, leader, panel["title"])
    result = deciding.verdict(workshop, leader, study.id)
    assert study.state == "decided"
    if panel["aim"] == "dose":
        fitted = forced_choice.threshold_file(panel["method"], file, 0.05, uneven=False)
        assert isinstance(result, ThresholdFit)
        assert result.estimate.value == pytest.approx(fitted.estimate.value, rel=1e-6)
    else:
        assert isinstance(result, Ladder)
        read, aim = forced_choice.ladder_file(panel["method"], file, panel["pd_limit"], 0.05, uneven=False)
        assert (result, study.plan.aim) == (read, aim)


def test_a_newcomer_can_try_a_triangle_at_once(workshop: Store, leader: Staff, monkeypatch: pytest.MonkeyPatch) -> None:
    """One triangle sitting is open and its trays are out: first page, then three codes."""
    monkeypatch.setenv("STUDYAPP_DEMO", "1")
    token = joining.demo_seat(workshop, "aroma")
    assert tasting.place(workshop, token).kind == "welcome"
    here = tasting.agree(workshop, token)
    assert (here.kind, len(here.cups), here.pick, here.ask[:12]) == ("trial", 3, 1, "Two of these")
    assert _study(workshop, leader, "Spearmint, noticed or not").state == "sealed"
