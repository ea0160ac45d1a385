"""The same answers through the app and through a command: one verdict, one set of numbers, for every aim and test.

Neither side is the other's source: the app reads its store, the command a file of the answers. The arithmetic of both
is held against published tables elsewhere.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner

from studyapp.cli import group
from studyapp.kinds.aroma import deciding, rule
from studyapp.kinds.aroma.plan import AromaPlan, Control
from studyapp.kinds.aroma.rule import control
from studyapp.methods import METHODS
from studyapp.records import Sitting
from studyapp.services import closing, watching
from tests.kinds.aroma.aroma_kitchen import PLAN, Kitchen, draft, sealed

NAMED = replace(PLAN, nameable=True, note="mint", reference="plain, made in May", pd_limit=0.5)
LADDER = replace(NAMED, trials_each=2, sets_a_sitting=4, alpha=0.15)
PLANS = {
    "detectable": replace(NAMED, trials_each=3, sets_a_sitting=3),
    "by rounds": replace(NAMED, sequential=True, cap=12, beta=0.05, sets_a_sitting=4),
    "dose": replace(NAMED, aim="dose", doses=(5.0, 7.5, 10.0, 20.0), trials_each=1, sets_a_sitting=4),
    "carry over": replace(LADDER, aim="carry over", batches=(1, 2)),
    "linger": replace(LADDER, aim="linger", batches=(3, 9)),
}


def _tasted(kitchen: Kitchen, method: str) -> None:
    """Everybody answers; the last person leaves after two sets, but not between rounds. No triangle is ever right."""
    (sitting,) = kitchen.sittings()
    _serve(kitchen, sitting, method)
    here = deciding.standing(kitchen.store, kitchen.leader, kitchen.study) if kitchen.plan.sequential else None
    if here is not None and here.control_waits:
        _serve(kitchen, deciding.serve_control(kitchen.store, kitchen.leader, kitchen.study), method)


def _serve(kitchen: Kitchen, sitting: Sitting, method: str) -> None:
    tasters, of = kitchen.serve(sitting), list(METHODS).index(method)
    for seat, taster in enumerate(tasters):

        def right(level: float | None, number: int, seat: int = seat) -> bool:
            return method != "triangle" and (number * 7 + seat * 3 + int(level or 0)) % 5 > of % 3

        for here in taster.sets():
            if taster is tasters[-1] and here.number == 3 and not kitchen.plan.sequential:
                break
            taster.finish_one(here, right)
    watching.close_sitting(kitchen.store, kitchen.leader, sitting.id, "somebody left")


def _options(asked: str, plan: AromaPlan, file: Path, frame: pd.DataFrame) -> list[str]:
    """The command that judges these answers; they are written to `file` as it reads them."""
    column = {"dose": "dose", "carry over": "batch", "linger": "batch"}.get(asked)
    if asked == "by rounds":
        own = frame[~frame["control"]].groupby(["sitting", "position"]).ngroup() + 1
        frame, column = frame.assign(level=own), "round"
    frame = frame.assign(control=frame["control"].astype(int))
    kept = frame[["assessor", "correct", "control", "level"]]
    kept.rename(columns={"level": column or "left_out"}).to_csv(file, index=False)
    limit = ["--method", plan.method, "--alpha", str(plan.alpha), "--json"]
    limited = [*limit, "--pd", str(plan.pd_limit)]
    return {
        "detectable": ["choice", "--answers", str(file), *limited],
        "by rounds": [
            "choice", "--answers", str(file), *limited,
            "--cap", str(plan.cap), "--beta", str(plan.beta), "--assessors", "3",
        ],
        "dose": ["threshold", str(file), *limit, "--uneven"],
    }.get(asked, ["carryover", str(file), *limited, "--uneven"])  # fmt: skip


def _numbers(document: Any) -> Any:
    """All but where it comes from and how it is worded."""
    if isinstance(document, dict):
        apart = {"app_version", "files", "warnings", "answers_given", "right_of_given"}
        return {name: _numbers(value) for name, value in document.items() if name not in apart}
    return [_numbers(value) for value in document] if isinstance(document, list) else document


@pytest.mark.parametrize("asked", PLANS)
def test_app_and_command_say_the_same(make: Any, tmp_path: Path, asked: str) -> None:
    """Every number and code alike; nobody right in any triangle is "fewer right than guessing" on both sides."""
    staffed = make(PLANS[asked], 5 if asked == "dose" else 3)
    for method in METHODS:
        plan = replace(PLANS[asked], method=method, title=method)
        if asked != "dose":
            least = control.fewest(plan, rule.sets_each(plan) * 3)
            plan = replace(plan, control=Control(holds="twice as long", sets=least))
        kitchen = sealed(draft(staffed.store, staffed.leader, staffed.preparer, plan))
        _tasted(kitchen, method)
        closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
        own = deciding.document(kitchen.store, kitchen.leader, kitchen.study)
        frame = deciding.answers(kitchen.store, kitchen.leader, kitchen.study)
        told = CliRunner().invoke(group, _options(asked, plan, tmp_path / "answers.csv", frame))
        assert told.exit_code == 0, told.stderr
        assert _numbers(json.loads(told.stdout)) == _numbers(json.loads(json.dumps(own)))
        if method == "triangle" and asked != "by rounds":  # there a first round of three is no surprise yet
            assert (own["verdict"], own["reason"]) == ("cannot tell", "fewer right than guessing")
