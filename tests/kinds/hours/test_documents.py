"""RULE.toml and the decision as JSON."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from analysis.stopping import AttributeRule, Rule, Warning
from demo_panels import generate
from studyapp.errors import BadInput
from studyapp.kinds.hours.files.bringing import decide_files
from studyapp.kinds.hours.files.decisions import decision_document
from studyapp.kinds.hours.files.rules import read_rule

WHOLE = """
alpha = 0.05
looks = 2
look = 1
adjust = ["position", "sitting:hours"]
control = 0
[attributes.acidity]
wanted = "lower"
margin = 1.0
limit = 4.5
[attributes.off-notes]
wanted = "same"
margin = 0.5
"""
LEAST = '[attributes.acidity]\nwanted = "lower"\nmargin = 1\n'


def _said(text: str) -> str:
    with pytest.raises(BadInput) as caught:
        read_rule("folder/RULE.toml", text)
    return str(caught.value)


def test_every_key_of_a_rule_is_read() -> None:
    """Into the rule that the statistics know."""
    assert read_rule("RULE.toml", WHOLE) == Rule(
        {"acidity": AttributeRule("lower", 1.0, 4.5), "off-notes": AttributeRule("same", 0.5)},
        alpha=0.05,
        looks=2,
        look=1,
        adjust=("position", "sitting:hours"),
        control=0.0,
    )


def test_what_a_rule_leaves_out_has_a_default() -> None:
    """One look at 5 %, nothing adjusted, the shortest pull as control."""
    assert read_rule("RULE.toml", LEAST) == Rule({"acidity": AttributeRule("lower", 1.0)}, 0.05, 1, 1, (), None)


def test_a_rule_is_read_from_its_file(tmp_path: Path) -> None:
    """With the newlines and the mark that some editors write."""
    file = tmp_path / "RULE.toml"
    file.write_bytes(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode())
    assert read_rule(file) == read_rule(file, WHOLE)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "RULE.toml: no attribute decides; add [attributes.acidity]"),
        ("attributes = 3", "RULE.toml: no attribute decides"),
        ("[attributes]\nacidity = 1", "RULE.toml, attributes.acidity: 1 is not a table"),
        ("alpha = 5\n" + LEAST, "RULE.toml, alpha: 5 does not lie between 0 and 0.5; write 0.05."),
        ("alpha = 0\n" + LEAST, "alpha: 0 does not lie between 0 and 0.5; write 0.05."),
        ("alpha = 2.5\n" + LEAST, "write 0.025."),
        ("alpha = 1e-320\n" + LEAST, "alpha: 1e-320 is smaller than any limit can be worked out for; write 0.05."),
        ("alpha = 0.5\n" + LEAST, "alpha: 0.5 does not lie"),
        ('alpha = "0.05"\n' + LEAST, 'alpha: "0.05" is not a number; write it in digits, without quotes'),
        ("alpha = true\n" + LEAST, "alpha: true is not a number"),
        ("alpha = nan\n" + LEAST, "alpha: nan is not a number that a scale has"),
        ("alpha = 1979-05-27\n" + LEAST, "alpha: 1979-05-27 is not a number"),
        ("looks = 5\n" + LEAST, "looks: 5 is not a whole number from 1 to 4."),
        ("looks = 1.0\n" + LEAST, "looks: 1.0 is not a whole number"),
        ("looks = 2\nlook = 3\n" + LEAST, "look: 3 is not a whole number from 1 to 2."),
        ("look = 2\n" + LEAST, "look: 2 is not a whole number from 1 to 1."),
        ('adjust = "position"\n' + LEAST, 'adjust: "position" is not a list of texts; write adjust = ["position"].'),
        ('adjust = ["positon"]\n' + LEAST, 'adjust: "positon" is not known; is it position?'),
        ('adjust = ["batch"]\n' + LEAST, 'adjust: "batch" is not known; known are position, sitting, sitting:hours.'),
        ('adjust = ["sitting", "sitting"]\n' + LEAST, 'adjust: "sitting" stands there twice'),
        ('control = "0 h"\n' + LEAST, 'control: "0 h" is not a number'),
        ("control = -1\n" + LEAST, "control: -1 is below zero"),
        ("alhpa = 0.05\n" + LEAST, 'there is no key "alhpa"; is it alpha?'),
        (
            "colour = 1\n" + LEAST,
            'there is no key "colour"; known are alpha, looks, look, adjust, control, lost_reference, ',
        ),
        (LEAST + "margn = 2\n", 'RULE.toml, acidity: there is no key "margn"; is it margin?'),
        (
            "[attributes.acidity]\nmargin = 1\n",
            "RULE.toml, acidity: there is no wanted; every deciding attribute needs it.",
        ),
        ('[attributes.acidity]\nwanted = "lower"\n', "acidity: there is no margin"),
        (
            '[attributes.acidity]\nwanted = "less"\nmargin = 1\n',
            'acidity.wanted: "less" is not known; write lower, higher',
        ),
        ('[attributes.acidity]\nwanted = ["lower"]\nmargin = 1\n', "acidity.wanted: ['lower'] is not known"),
        (
            LEAST.replace("= 1", "= 0"),
            "acidity.margin: 0 is not above 0; give the largest worsening you would still sell",
        ),
        (LEAST.replace("= 1", "= -1"), "acidity.margin: -1 is not above 0"),
        (LEAST.replace("= 1", "= inf"), "acidity.margin: inf is not a number that a scale has"),
        (LEAST.replace("= 1", f"= {10**400}"), "acidity.margin: … is not a number that a scale has"),
        (LEAST + 'limit = "4"\n', 'acidity.limit: "4" is not a number'),
        (LEAST + "limit = 1_000_001\n", "is not a number that a scale has"),
        ("alpha = 0.05\nalpha = 0.1\n", "RULE.toml, line 2, column 12: this is not TOML"),
        ("alpha : 0.05\n", "RULE.toml, line 1, column 7: this is not TOML"),
        ("a = " + "[" * 5000, "RULE.toml"),
        (
            "\n".join(f'[attributes.a{k}]\nwanted = "same"\nmargin = 1' for k in range(51)),
            "51 attributes, and at most 50",
        ),
    ],
)
def test_every_slip_in_a_rule_has_its_sentence(text: str, sentence: str) -> None:
    """File, key, value and rule, or the nearest known key."""
    said = _said(text)
    assert sentence in said
    assert said.startswith("RULE.toml")
    assert "\n" not in said


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"alpha = \xff", "not a text in UTF-8"), (b"#" * (2**20 + 1), "larger than 1 MB"), (None, "cannot be read")],
)
def test_a_rule_file_that_is_no_text_is_refused(content: bytes | None, sentence: str, tmp_path: Path) -> None:
    """Or is not there."""
    file = tmp_path / "RULE.toml"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(BadInput, match=sentence):
        read_rule(file)


# ---- the decision --------------------------------------------------------------------------------------------------
# Keys that people's scripts rely on, from the project's own contract.
DECISION = {"verdict", "hours", "sealed", "scope", "warnings", "attributes", "look", "looks", "level", "control_found"}
DECISION |= {"latest_hours", "binding", "price"}
ATTRIBUTE = {
    "wanted",
    "margin",
    "limit",
    "reference_hours",
    "shortest_hours",
    "reml_loglik",
    "variance",
    "anova",
    "pulls",
}
ATTRIBUTE |= {"shown_to_fail"}
PULL = {"hours", "mean", "difference", "se", "df", "upper", "own_se", "own_df", "own_upper", "within_margin", "passes"}


def _document(name: str) -> dict[str, Any]:
    folder = generate.FOLDER / name
    decision, offers = decide_files(folder / "scores.csv", folder / "RULE.toml")
    return decision_document(decision, offers, sealed=True, say=lambda warning: f"About {warning.code}.")


def test_a_decision_has_every_key_that_scripts_rely_on() -> None:
    """At each level, as plain JSON."""
    document = _document("stop")
    assert document.keys() >= DECISION
    for attribute in document["attributes"].values():
        assert attribute.keys() >= ATTRIBUTE
        assert attribute["variance"].keys() >= {"assessor", "assessor:hours", "residual"}
        assert attribute["anova"].keys() == {"f", "num_df", "den_df", "p"}
        assert all(pull.keys() >= PULL for pull in attribute["pulls"])
    assert (document["verdict"], document["hours"], document["sealed"]) == ("stop", 12.0, True)
    assert document["price"] is None
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_the_reference_has_no_limits_and_passes() -> None:
    """Nothing is compared with itself."""
    reference = _document("stop")["attributes"]["acidity"]["pulls"][-1]
    assert (reference["difference"], reference["se"], reference["upper"], reference["own_upper"]) == (
        0,
        None,
        None,
        None,
    )
    assert reference["passes"] is True


def test_cannot_tell_comes_with_its_price() -> None:
    """Chances of each verdict add up, hours are numbers."""
    document = _document("cannot_tell")
    assert document["hours"] is None
    assert document["price"]
    for offer in document["price"]:
        assert sum(offer["chances"].values()) == pytest.approx(1)
        assert offer["settles"] == pytest.approx(1 - offer["chances"]["cannot tell"])
        assert 24.0 in offer["pulls"]


def test_warnings_carry_code_and_sentence() -> None:
    """The sentence comes from the findings, above this layer."""
    warnings = _document("cannot_tell")["warnings"]
    assert warnings
    assert all(warning["sentence"] == f"About {warning['code']}." for warning in warnings)
    assert all(isinstance(warning["values"], dict) for warning in warnings)


def test_numbers_that_do_not_exist_are_null() -> None:
    """JSON has neither not-a-number nor infinity."""
    folder = generate.FOLDER / "stop"
    decision, _offers = decide_files(folder / "scores.csv", folder / "RULE.toml")
    odd = Warning("odd", {"share": math.nan, "most": math.inf, "hours": (8.0, 12.0), 4.0: "four"})
    document = decision_document(_with_warning(decision, odd), (), sealed=False)
    assert document["warnings"][-1] == {
        "code": "odd",
        "sentence": "odd",
        "values": {"share": None, "most": None, "hours": [8.0, 12.0], "4": "four"},
    }


def _with_warning(decision: Any, warning: Warning) -> Any:
    from dataclasses import replace

    return replace(decision, warnings=(warning,))
