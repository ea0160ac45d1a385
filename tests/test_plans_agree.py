"""One plan, one seed, one answer: from Python, from the plan page's service and from the command."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from analysis.planning import operating_characteristics
from analysis.simulation import Design
from studyapp.cli import group
from studyapp.records import Attribute, Plan, Pull
from studyapp.services import proposals
from studyapp.services.planning import rule_of
from studyapp.services.prospects import what_it_can_show
from studyapp.services.scenarios import usual

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
PLAN = Plan(
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


def test_the_same_seed_gives_the_same_chances_everywhere(tmp_path: Path) -> None:
    """400 studies, seed 5: the page's bars, the command's JSON and a call of the statistics are one."""
    page = what_it_can_show(PLAN, seed=5, studies=400)
    rule = rule_of(PLAN, 2)
    python = operating_characteristics(usual(rule, HOURS), rule, Design(9, 1, 1, 1), 400, 5)
    (tmp_path / "RULE.toml").write_text(RULE)
    told = CliRunner().invoke(
        group,
        ["plan", "hours", "--hours", "0,4,8,12,16,24", "--assessors", "9", "--replicates", "1", "--studies", "400",
         "--seed", "5", "--rule", str(tmp_path / "RULE.toml"), "--json"],
    )  # fmt: skip
    command = json.loads(told.output)
    assert page.stop_by.share == python.stop_by(12.0) == sum(command["stop"][h] for h in ("0", "4", "8", "12"))
    assert page.cannot_tell.share == python.cannot_tell == command["cannot tell"]
    assert page.mean_looks == python.mean_looks == command["mean_looks"]
    assert 0 < page.stop_by.share < 1
    (row,) = proposals.compare((PLAN,), seed=5, studies=400)
    assert (row.chance, row.cannot_tell) == (page.stop_by.share, page.cannot_tell.share)
