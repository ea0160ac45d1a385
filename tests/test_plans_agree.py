"""One plan, one seed, one answer: from Python, from the plan page's service and from the command."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis.planning.operating_characteristics import operating_characteristics
from analysis.planning.simulation import Design
from demo_panels import workshop
from studyapp.cli import group
from studyapp.kinds.hours.deciding import proposals
from studyapp.kinds.hours.deciding.prospects import what_it_can_show
from studyapp.kinds.hours.deciding.scenarios import usual
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.rule import rule_of
from studyapp.records import Attribute
from studyapp.services.spreads import ASSUMED, of_store
from studyapp.store import Store, open_store

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
PLAN = HoursPlan(
    "x",
    pulls=tuple(Pull(h) for h in HOURS),
    attributes=(Attribute("acidity"), Attribute("cocoa", wanted="higher", margin=1.5)),
    assessors=tuple(f"a{n}" for n in range(9)),
    control=0.0,
    looks=2,
    sittings=1,
    next_sittings=1,
)
RULE = """
looks = 2
adjust = ["sitting:hours"]
control = 0
[attributes.acidity]
wanted = "lower"
margin = 1.0
[attributes.cocoa]
wanted = "higher"
margin = 1.5
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The invented workshop, which has opened studies of its own."""
    opened = open_store(str(tmp_path_factory.mktemp("agree") / "studies.sqlite"))
    workshop.fill(opened)
    yield opened
    opened.close()


@pytest.mark.parametrize("own", [False, True], ids=["assumed spreads", "the panel's own"])
def test_the_same_seed_gives_the_same_chances_everywhere(tmp_path: Path, store: Store, own: bool) -> None:
    """400 studies, seed 5: the page's bars, the command's JSON and a call of the statistics are one."""
    known = of_store(store) if own else ASSUMED
    page = what_it_can_show(PLAN, seed=5, studies=400, spreads=known)
    rule = rule_of(PLAN, 2)
    truth = usual(rule, HOURS, spreads=known)
    python = operating_characteristics(truth, rule, Design(9, 1, 1, 1), 400, 5)
    (tmp_path / "RULE.toml").write_text(RULE)
    told = CliRunner().invoke(
        group,
        ["plan", "hours", "--hours", "0,4,8,12,16,24", "--assessors", "9", "--replicates", "1", "--studies", "400",
         "--seed", "5", "--rule", str(tmp_path / "RULE.toml"), "--json", *(["--store", store.url] if own else [])],
    )  # fmt: skip
    command = json.loads(told.output)
    assert page.stop_by.share == python.stop_by(12.0) == sum(command["stop"][h] for h in ("0", "4", "8", "12"))
    assert page.cannot_tell.share == python.cannot_tell == command["cannot tell"]
    assert page.mean_looks == python.mean_looks == command["mean_looks"]
    assert 0 < page.stop_by.share < 1
    (row,) = proposals.compare((PLAN,), seed=5, studies=400, spreads=known)
    assert (row.chance, row.cannot_tell) == (page.stop_by.share, page.cannot_tell.share)
    for name, one in truth.attributes.items():
        assert command["spreads"]["attributes"][name]["error"]["sd"] == one.error
    assert [command["spreads"]["attributes"][name]["from"] for name in ("acidity", "cocoa")] == (
        ["own", "panel"] if own else ["assumed", "assumed"]
    )
    assert command["spreads"]["studies"] == known.studies


def test_spreads_reach_every_answer(store: Store) -> None:
    """The panel's own spreads are smaller than the assumed ones, so each answer about a plan is another one."""
    known, plan = of_store(store), replace(PLAN, looks=1, attributes=PLAN.attributes[:1])
    for answer in (
        lambda spreads: what_it_can_show(plan, 5, 400, spreads).stop_by,
        lambda spreads: proposals.compare((plan,), 5, 400, spreads)[0].chance,
        lambda spreads: proposals.propose(plan, 0.5, 5, spreads).nearest.chance,
        lambda spreads: proposals.which_test(plan, True, 5, spreads)[0].same,
    ):
        assert answer(known) != answer(ASSUMED)
