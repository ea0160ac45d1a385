"""`studyapp compare` and `studyapp plan compare`: answers of invented comparisons, and refusals that name the slip."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from demo_panels import makes
from studyapp.cli import group

CONCHED = makes.FOLDER / "conched_first"
RULE = (CONCHED / "RULE.toml").read_text(encoding="utf-8")


def run(*arguments: object) -> Result:
    """The command within this process."""
    return CliRunner().invoke(group, [str(one) for one in arguments])


def test_sentences_and_a_report(tmp_path: Path) -> None:
    """The headline first, then how far it reaches; a PDF beside it."""
    report = tmp_path / "report.pdf"
    found = run("compare", CONCHED / "scores.csv", "--rule", CONCHED / "RULE.toml", "--report", report)
    assert found.exit_code == 0
    assert found.output.startswith("B is no worse than A. C: cannot tell.")
    assert "- fat: differs. 0.83 % more" in found.output
    assert report.read_bytes().startswith(b"%PDF")


def test_one_json_object() -> None:
    """Every make with its verdict, chances, limits and what else differed."""
    found = run("compare", CONCHED / "scores.csv", "--rule", CONCHED / "RULE.toml", "--json")
    document = json.loads(found.output)
    assert document["verdicts"] == {"B": "shown", "C": "cannot tell"}
    assert document["makes"]["B"]["confounders"]["fat"]["answer"] == "differs"
    assert document["makes"]["C"]["p_holm"] == pytest.approx(document["makes"]["C"]["p"])
    assert document["makes"]["B"]["p_holm"] == pytest.approx(2 * document["makes"]["B"]["p"])
    assert [set(offer["told"]) for offer in document["price"]] == [{"C"}, {"C"}]


WRONG = (
    ('claim = "no worse"', 'claim = "as good"', "acidity.claim"),
    ('reference = "A"', "", "reference"),
    ('control = "control"', "", "control: a piece known to differ"),
    ("margin = 1.0", "", "there is no margin"),
    ("tolerance = 0.5", "tolerance = 0", "fat.tolerance"),
    ('adjust = ["sitting:make"]', 'adjust = ["sitting:hours"]', "known are position, sitting, sitting:make"),
    ("looks = 2", "look_s = 2", "is it looks"),
    ('reference = "A"', 'reference = "Q"', "no score of 'Q'"),
)


@pytest.mark.parametrize(("was", "now", "sentence"), WRONG)
def test_a_slip_is_named(was: str, now: str, sentence: str, tmp_path: Path) -> None:
    """File, key, value and what may be written."""
    rule = tmp_path / "RULE.toml"
    rule.write_text(RULE.replace(was, now, 1), encoding="utf-8")
    found = run("compare", CONCHED / "scores.csv", "--rule", rule)
    assert found.exit_code != 0
    assert sentence in found.output
    assert "Traceback" not in found.output


def test_a_file_tells_what_was_lost_and_what_nobody_could_judge(tmp_path: Path) -> None:
    """C lost before tasting steps out, so B faces no step for it; one score of B that nobody could judge."""
    rows = (CONCHED / "scores.csv").read_text(encoding="utf-8").splitlines()
    columns = rows[0].split(",")
    kept = [row for row in rows[1:] if row.split(",")[columns.index("make")] != "C"]
    at = next(place for place, row in enumerate(kept) if row.split(",")[columns.index("make")] == "B")
    cells = kept[at].split(",")
    cells[columns.index("score")] = "unjudged"
    lost = {"make": "C", "score": "lost, spoilt"}
    kept[at] = ",".join(cells)
    scores = tmp_path / "scores.csv"
    scores.write_text("\n".join([rows[0], *kept, ",".join(f'"{lost.get(one, "")}"' for one in columns)]), "utf-8")
    document = json.loads(run("compare", scores, "--rule", CONCHED / "RULE.toml", "--json").output)
    assert document["lost"] == [{"make": "C", "fate": "lost", "sitting": None, "batch": None, "reason": "spoilt"}]
    assert [(one["make"], one["count"]) for one in document["unjudged"]] == [("B", 1)]
    assert document["makes"]["B"]["p"] == document["makes"]["B"]["p_holm"]
    assert "C was lost (spoilt): nothing is said about it." in flat(
        run("compare", scores, "--rule", CONCHED / "RULE.toml").output
    )


GATE = """
[gates.viscosity]
unit = "Pa.s"
at_most = 2.2
repeats = 2
"""
VISCOSITY = {"A": {14: 2.0, 24: 1.9}, "B": {14: 2.0, 24: 1.8}, "C": {14: 3.1, 24: 2.9}}


def test_readings_join_flavour(tmp_path: Path) -> None:
    """B keeps the limit and stays shown; C breaks it, which flavour alone left open; fat is read from the file too."""
    rule, readings, report = tmp_path / "RULE.toml", tmp_path / "readings.csv", tmp_path / "report.pdf"
    without = RULE.replace("[tolerances.fat]", "[tolerances.ash]\ntolerance = 0.1\n[tolerances.fat]")
    rule.write_text(without + GATE, encoding="utf-8")
    rows = [f"{m},{h},viscosity,{v + off}" for m, own in VISCOSITY.items() for h, v in own.items() for off in (0, 0.02)]
    rows += [f"{make},24,ash,{value}" for make in "AB" for value in (1.0, 1.01, 1.0)]
    readings.write_text("\n".join(["make,hours,quantity,value", *rows]), encoding="utf-8")
    files = (CONCHED / "scores.csv", "--rule", rule, "--readings", readings)
    document = json.loads(run("compare", *files, "--json").output)
    assert document["verdicts"] == {"B": "shown", "C": "not good enough"}
    assert document["makes"]["C"]["fails_on"] == ["viscosity"]
    assert [one["answer"] for one in document["makes"]["B"]["gates"]] == ["passes"]
    assert document["makes"]["B"]["confounders"]["ash"]["answer"] == "matched"
    told = flat(run("compare", *files, "--report", report).output)
    assert "B is no worse than A. C is not good enough." in told
    assert "C is shown to break a limit; Viscosity is 2.91" in told
    assert "Viscosity: A needs 14 h, B needs 14 h, C has not reached the limit at 24 h." in told
    assert report.read_bytes().startswith(b"%PDF")
    readings.write_text("make,quantity,value\nQ,viscosity,2.0\n", encoding="utf-8")
    assert "column make: Q is none of the makes" in flat(run("compare", *files).output)


def test_hours_that_one_make_needs_longer(tmp_path: Path) -> None:
    """Words and JSON; without B's short pull no hours are shown, and a slip of the rule is named."""
    here = makes.FOLDER / "hours_saved"
    told = flat(run("compare", here / "scores.csv", "--rule", here / "RULE.toml").output)
    assert "A needs over 4 h longer than B." in told
    assert "A 8 h shown not good enough" in told
    document = json.loads(run("compare", here / "scores.csv", "--rule", here / "RULE.toml", "--json").output)
    assert {key: document["bracket"][key] for key in ("slow", "fast", "more_than", "at_most", "over")} == {
        "slow": "A", "fast": "B", "more_than": 8.0, "at_most": 4.0, "over": 4.0,
    }  # fmt: skip
    rule = tmp_path / "RULE.toml"
    text = (here / "RULE.toml").read_text(encoding="utf-8")
    for was, now, sentence in (
        ("A = [4, 8, 24]", "A = [4, 8]", "reference and control are pulls of one make"),
        ("B = [4, 24]", "B = [24]", "'B 4 h' is none of the pulls"),
        ("A = [4, 8, 24]", "A = 4", "is not a list of numbers"),
    ):
        rule.write_text(text.replace(was, now), encoding="utf-8")
        assert sentence in flat(run("compare", here / "scores.csv", "--rule", rule).output)
    planned = flat(run("plan", "compare", "--rule", here / "RULE.toml", "--assessors", 10, "--studies", 200).output)
    assert "needs longer by any number of hours in about" in planned
    limited = ("plan", "compare", "--rule", makes.FOLDER / "worn_mill" / "RULE.toml", "--assessors", 8)
    assert "Limits of instruments are assumed to be kept by far." in flat(run(*limited, "--studies", 100).output)


def flat(text: str) -> str:
    """Wrapped lines as one."""
    return " ".join(text.split())


def test_what_a_panel_can_show() -> None:
    """Shares of studies; more people, more answers."""
    few, many = (
        json.loads(
            run("plan", "compare", "--rule", CONCHED / "RULE.toml", "--assessors", n, "--studies", 300, "--json").output
        )
        for n in (6, 14)
    )
    assert few["all_shown"] < many["all_shown"]
    told = run("plan", "compare", "--rule", CONCHED / "RULE.toml", "--assessors", 8, "--studies", 100).output
    assert "cannot tell" in told
    assert "8 people, 2 sittings, 1 of each piece in each." in told


# People, replicates, batches, per cent shown of two makes that are equal, margin 1, made by separate code when the rule
# was specified (20,000 studies): trays that may differ between sittings cost much of what two sittings would bring;
# three and four batches of two servings, sd of a batch .3 (a pair's own spread costs up to six points more).
PLANNED = ((8, 2, 1, 50, 0), (12, 2, 1, 68, 0), (8, 2, 3, 67, 8), (8, 2, 4, 76, 8))


@pytest.mark.parametrize(("people", "replicates", "batches", "shown", "less"), PLANNED)
def test_a_plan_reckons_with_trays_and_batches(
    people: int, replicates: int, batches: int, shown: int, less: int
) -> None:
    """As printed before anybody tastes, within four Monte Carlo errors."""
    options = ["--assessors", people, "--replicates", replicates, "--batches", batches, "--studies", 1000]
    found = json.loads(run("plan", "compare", "--makes", 2, "--margin", 1, *options, "--json").output)
    error = 400 * found["monte_carlo_se"]
    assert shown - less - error < 100 * found["all_shown"] < shown + 1 + error
    assert found["make"]["not good enough"] < 0.01


REFUSED = (
    (("--margin", 1, "--batches", 2), "3 batches of each or more"),
    (("--margin", 11), "above 0 and at most 10"),
    (("--margin", 1, "--makes", 5), "a whole number from 2 to 4"),
    ((), "give either --rule"),
)


@pytest.mark.parametrize(("options", "sentence"), REFUSED)
def test_a_plan_that_cannot_be_is_refused(options: tuple[object, ...], sentence: str) -> None:
    """One sentence, nothing printed beside it."""
    found = run("plan", "compare", "--assessors", 8, *options)
    assert found.exit_code == 2
    assert sentence in found.output
