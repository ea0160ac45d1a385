"""What two other programs say of the numbers below a verdict: a table an attribute, and why they differ where they do.

The names of the programs are names and stay as they are; so do the words of an error that one of them ended with.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from studyapp.findings.numbers import decimal, hours, listed, or_dash, p_value, percent
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import Anova
    from analysis.stopping.cross_check import AttributeCheck, Fit, MixedCheck

Row = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """One attribute: headings of four columns, a row a number, and sentences."""

    name: str
    heads: Row
    rows: tuple[Row, ...]
    says: tuple[str, ...]


def second_opinions(checks: Mapping[str, AttributeCheck]) -> tuple[SecondOpinion, ...]:
    """Every attribute in the order of the rule."""
    heads = ("", _("here"), "statsmodels", "pingouin")
    return tuple(SecondOpinion(_title(check), heads, tuple(_rows(check)), _says(check)) for check in checks.values())


def _title(check: AttributeCheck) -> str:
    if check.batch:
        return _("{attribute}, batch {batch}").format(attribute=check.name, batch=check.batch)
    if check.batches:
        return _("{attribute}, on average over batches").format(attribute=check.name)
    return check.name


def opinion_intro() -> str:
    """What the tables are and what they are not."""
    return _(
        "The same model, fitted by statsmodels in its own way, and the analysis of variance of pingouin on each "
        "assessor's means. Nothing of it touches the verdict. statsmodels takes errors as known, so its F has no "
        "second degrees of freedom, and its p is too small for a panel."
    )


# ---- the table -----------------------------------------------------------------------------------------------------
def _rows(check: AttributeCheck) -> Iterable[Row]:
    ours, theirs = check.ours, check.mixed.other.found if check.mixed.other else None
    yield _("log-likelihood, restricted"), or_dash(ours.loglik, 4), or_dash(theirs.loglik if theirs else None, 4), "–"
    for name in ours.variance:
        own, others = (or_dash(fit.variance.get(name) if fit else None, 4) for fit in (ours, theirs))
        yield _variance(name), own, others, "–"
    label = _("{h} h minus {reference} h (standard error)")
    for number, difference in enumerate(ours.differences):
        heading = label.format(h=hours(difference.hours), reference=hours(check.reference_hours))
        yield heading, _difference(ours, number), _difference(theirs, number), "–"
    tests = (ours.anova, theirs.anova if theirs else None, check.anova.other.test if check.anova.other else None)
    names = (_("F of hours"), _("its degrees of freedom"), _("its p"))
    f = [or_dash(test.f if test else None, 2) for test in tests]
    df, p = [_df(test) for test in tests], [p_value(test.p if test else None) for test in tests]
    for name, (own, mixed, means) in zip(names, (f, df, p), strict=True):
        yield name, own, mixed, means


def _variance(name: str) -> str:
    return {
        "assessor": _("variance between assessors"),
        "assessor:hours": _("variance of assessor by hours"),
        "sitting": _("variance between sittings"),
    }.get(name, _("variance left over"))


def _difference(fit: Fit | None, number: int) -> str:
    if fit is None:
        return "–"
    found = fit.differences[number]
    return _("{value} ({error})").format(value=decimal(found.estimate, 3), error=or_dash(found.se, 3))


def _df(test: Anova | None) -> str:
    if test is None or test.num_df is None:
        return "–"
    return _("{num} and {den}").format(num=decimal(test.num_df, 0), den=or_dash(test.den_df, 1))


# ---- the sentences -------------------------------------------------------------------------------------------------
def _says(check: AttributeCheck) -> tuple[str, ...]:
    said = (_over(check), _mixed(check), _copied(check.mixed), _other_errors(check.mixed), _anova(check))
    return tuple(sentence for sentence in said if sentence)


def _over(check: AttributeCheck) -> str:
    """What was asked where no fit of one batch was."""
    if not check.batches:
        return ""
    return _(
        "Asked of all scores less what each of the {n} batches did; the differences, and their error with the batch as "
        "the unit, of those found in each batch alone."
    ).format(n=len(check.batches))


def _mixed(check: AttributeCheck) -> str:
    mixed = check.mixed
    if mixed.says == "agrees":
        return _("statsmodels agrees: its search ends where the fit here ends, and its formulas give the same there.")
    if mixed.says == "stops short":
        return _short(check)
    if mixed.says == "not converged":
        return _(
            "statsmodels did not converge: its column shows where its search gave up. Its formulas agree with the "
            "numbers here at the variances found here."
        )
    if mixed.says == "differs":
        return _careful("statsmodels", [_PARTS[part]() for part in mixed.differs])
    return _not_compared(mixed)


def _short(check: AttributeCheck) -> str:
    found = check.mixed.other.found if check.mixed.other else None
    assert found is not None
    assert found.loglik is not None
    assert check.ours.loglik is not None
    below = decimal(check.ours.loglik - found.loglik, 4)
    if check.mixed.at_zero:
        return _(
            "statsmodels stops short: by its own formula the log-likelihood is {below} higher at the variances found "
            "here. Its search ends before it gets there. At zero, the least that can be, lies: {terms}."
        ).format(below=below, terms=_terms(check.mixed.at_zero))
    return _(
        "statsmodels stops short: by its own formula the log-likelihood is {below} higher at the variances found here, "
        "though none of them lies at zero. Its search ended too early."
    ).format(below=below)


def _not_compared(mixed: MixedCheck) -> str:
    if mixed.says == "no likelihood":
        return _("Not compared with statsmodels: the model explains every score, so there is no largest likelihood.")
    if mixed.says == "too large":
        return _("Not compared with statsmodels: with sittings in the model this panel is too large for it.")
    if mixed.other is None:
        return _("Not compared: statsmodels gave no answer, and said “{problem}”.").format(problem=mixed.problem)
    return _(
        "statsmodels broke off its search and said “{problem}”. Its formulas agree with the numbers here at the "
        "variances found here."
    ).format(problem=mixed.problem)


def _careful(program: str, parts: Iterable[str]) -> str:
    return _(
        "Careful: {program} disagrees in {parts}, and neither a variance at zero nor another error explains it. The "
        "verdict stands as it is. Keep the file of scores and have somebody look at it."
    ).format(program=program, parts=listed(list(parts)))


_PARTS = {
    "loglik": lambda: _("the log-likelihood at the same variances"),
    "residual": lambda: _("the variance left over"),
    "differences": lambda: _("the differences between pulls"),
    "se": lambda: _("the standard errors"),
    "f": lambda: _("F"),
    "batch error": lambda: _("the error of batches"),
    "higher likelihood": lambda: _("where the likelihood is highest"),
}


def _copied(mixed: MixedCheck) -> str:
    if not mixed.copied:
        return ""
    return _("Whoever scored a pull again gave the same score again. Both programs were given one score of each pull.")


def _other_errors(mixed: MixedCheck) -> str:
    if mixed.joint_se is None:
        return ""
    return _(
        "Its standard errors differ by up to {share}, as they let means and variances be unsure together. Here the "
        "variances are taken as found, and the degrees of freedom answer for their being unsure. So taken, its "
        "formulas give the standard errors of the first column."
    ).format(share=percent(mixed.joint_se))


def _anova(check: AttributeCheck) -> str:
    anova = check.anova
    if anova.says == "another error term":
        return _pooled(check)
    if anova.says == "fuller model":
        return _(
            "No analysis of variance: the rule takes {what} out of the scores, and that of pingouin cannot."
        ).format(what=listed([_taken_out(term) for term in anova.terms]))
    if anova.says == "gave nothing":
        return _("No analysis of variance: pingouin gave no answer, and said “{problem}”.").format(
            problem=anova.problem
        )
    if anova.says == "differs":
        return _careful("pingouin", [_("the analysis of variance")])
    return {
        "agrees": _("pingouin agrees: the same F on the same degrees of freedom."),
        "incomplete": _(
            "No analysis of variance: somebody did not score every pull, and pingouin would leave that person out."
        ),
        "unequal": _(
            "No analysis of variance: some pulls were scored more often by a person than others, so that their means "
            "are not equally exact."
        ),
    }.get(anova.says, _("No analysis of variance: there is nothing that varies."))


def _pooled(check: AttributeCheck) -> str:
    other = check.anova.other
    assert other is not None
    return _(
        "pingouin compares the same differences with another error, that of assessors by hours alone, on {theirs} "
        "degrees of freedom. Found to be zero here: {terms}. What only looks like it is pooled, so that the error "
        "rests on {ours}."
    ).format(
        terms=_terms(check.anova.at_zero),
        theirs=or_dash(other.test.den_df, 1),
        ours=or_dash(check.ours.anova.den_df, 1),
    )


def _terms(names: Iterable[str]) -> str:
    return listed([_variance(name) for name in names])


def _taken_out(term: str) -> str:
    return {"position": _("the place on the tray"), "sitting": _("the sitting")}[term]
