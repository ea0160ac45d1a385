"""Every way in which two other programs may agree, differ or stay silent has its sentence."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, get_args

import pytest

from analysis.stopping import Anova
from analysis.stopping.cross_check import AnovaCheck, AnovaSays, AttributeCheck, MixedCheck, MixedSays
from analysis.stopping.other_programs import Difference, Fit, OtherAnova, OtherFit
from studyapp.kinds.hours.findings.cross_check import second_opinions

DIFFERENCES = (Difference(0.0, 3.1, 0.36), Difference(12.0, 0.4, 0.36))
VARIANCE = {"assessor": 0.9, "assessor:hours": 0.0, "residual": 1.0}
OURS = Fit(-140.0, VARIANCE, DIFFERENCES, Anova(21.0, 2.0, 43.5, 0.00001))
THEIRS = Fit(-140.03, VARIANCE | {"assessor:hours": 0.004}, DIFFERENCES, Anova(20.9, 2.0, None, 0.00001))
OTHER = OtherFit(THEIRS, True, replace(OURS, anova=THEIRS.anova))
TEST = OtherAnova(Anova(24.0, 2.0, 14.0, 0.0002), 12.0, 0.5)
ZERO = ("assessor:hours",)
PARTS = ("loglik", "residual", "differences", "se", "f", "batch error", "higher likelihood")
MIXED: dict[str, MixedCheck] = {
    "agrees": MixedCheck("agrees", OTHER, joint_se=0.24),
    "stops short": MixedCheck("stops short", OTHER, at_zero=ZERO),
    "not converged": MixedCheck("not converged", OTHER),
    "differs": MixedCheck("differs", OTHER, PARTS),
    "no likelihood": MixedCheck("no likelihood"),
    "too large": MixedCheck("too large"),
    "gave nothing": MixedCheck("gave nothing", problem="Singular matrix"),
}
ANOVA: dict[str, AnovaCheck] = {
    says: AnovaCheck(
        says,
        TEST if says in ("agrees", "another error term", "differs") else None,
        ZERO if says == "another error term" else (),
        ("position", "sitting") if says == "fuller model" else (),
        "no answer today" if says == "gave nothing" else "",
    )
    for says in get_args(AnovaSays)
}


def said(mixed: MixedCheck = MIXED["too large"], anova: AnovaCheck = ANOVA["incomplete"], **ours: Any) -> str:
    """The sentences of one attribute."""
    check = AttributeCheck("acidity", 24.0, replace(OURS, **ours), mixed, anova)
    return " ".join(second_opinions({"acidity": check})[0].says)


def test_every_way_has_a_sentence_of_its_own() -> None:
    """The list of ways is that of the types."""
    assert set(MIXED) == set(get_args(MixedSays))
    assert len({said(mixed=mixed) for mixed in MIXED.values()}) == len(MIXED)
    assert len({said(anova=anova) for anova in ANOVA.values()}) == len(ANOVA)


def test_a_search_that_stops_short_says_by_how_much_and_where() -> None:
    """Lower by 0.03; with a variance at zero, and without one."""
    at_zero = said(MIXED["stops short"])
    assert "the log-likelihood is 0.0300 higher at the variances found here" in at_zero
    assert "At zero, the least that can be, lies: variance of assessor by hours." in at_zero
    assert "though none of them lies at zero" in said(replace(MIXED["stops short"], at_zero=()))


@pytest.mark.parametrize("part", PARTS)
def test_a_disagreement_is_a_caution_that_names_its_part(part: str) -> None:
    """Each part alone gives another sentence, and the verdict is said to stand."""
    alone = said(replace(MIXED["differs"], differs=(part,)))
    assert alone.startswith("Careful: statsmodels disagrees in ")
    assert "The verdict stands as it is." in alone
    assert all(alone != said(replace(MIXED["differs"], differs=(other,))) for other in PARTS if other != part)


def test_what_else_is_different_is_explained() -> None:
    """Other standard errors, copies counted once, an error that the other program ended with, a pooled error."""
    assert "Its standard errors differ by up to 24 %" in said(MIXED["agrees"])
    assert "standard errors differ" not in said(replace(MIXED["agrees"], joint_se=None))
    assert "one score of each pull" in said(replace(MIXED["agrees"], copied=True))
    assert "said “Singular matrix”" in said(MIXED["gave nothing"])
    broke_off = replace(MIXED["gave nothing"], other=replace(OTHER, found=None))
    assert "broke off its search and said “Singular matrix”" in said(broke_off)
    pooled = said(anova=ANOVA["another error term"])
    assert "on 14.0 degrees of freedom" in pooled
    assert "the error rests on 43.5" in pooled
    assert "takes the place on the tray and the sitting out" in said(anova=ANOVA["fuller model"])


def test_the_table_has_a_row_a_number_and_a_dash_where_there_is_none() -> None:
    """Three programs side by side; a program that said nothing has dashes."""
    check = AttributeCheck("acidity", 24.0, OURS, MIXED["stops short"], ANOVA["another error term"])
    [opinion] = second_opinions({"acidity": check})
    rows = {first: rest for first, *rest in opinion.rows}
    assert rows["log-likelihood, restricted"] == ["−140.0000", "−140.0300", "–"]
    assert rows["variance of assessor by hours"] == ["0.0000", "0.0040", "–"]
    assert rows["12 h minus 24 h (standard error)"] == ["0.400 (0.360)", "0.400 (0.360)", "–"]
    assert rows["F of hours"] == ["21.00", "20.90", "24.00"]
    assert rows["its degrees of freedom"] == ["2 and 43.5", "2 and –", "2 and 14.0"]
    assert rows["its p"] == ["below 0.0001", "below 0.0001", "0.0002"]
    silent = AttributeCheck("acidity", 24.0, OURS, MIXED["too large"], ANOVA["incomplete"])
    [opinion] = second_opinions({"acidity": silent})
    assert {cell for _label, _ours, *others in opinion.rows for cell in others} == {"–"}


def test_of_several_batches_each_table_says_of_which() -> None:
    """Its heading names the batch or their mean, which is explained once."""
    one = AttributeCheck("acidity", 24.0, OURS, MIXED["agrees"], ANOVA["agrees"], batch="winter")
    mean = replace(one, batch="", batches=("spring", "winter", "autumn"))
    first, second = second_opinions({"acidity": mean, "acidity, winter": one})
    assert (first.name, second.name) == ("acidity, on average over batches", "acidity, batch winter")
    assert "less what each of the 3 batches did" in first.says[0]
    assert second.says == second_opinions({"acidity": replace(one, batch="")})[0].says
