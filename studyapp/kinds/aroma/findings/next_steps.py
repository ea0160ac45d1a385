"""What a maker does next, one sentence under every verdict an aroma study can end with, by verdict and reason."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from studyapp.words import _

Steps = Mapping[tuple[str, str | None], Callable[[], str]]


def after_test(verdict: str, reason: str | None) -> str:
    """After one test at one dose. Raises KeyError for a verdict or reason that has no sentence, as all below."""
    return _TEST[verdict, reason]()


def after_rounds(standing: str, reason: str | None) -> str:
    """After a plan that may end early, or while it goes on."""
    return _ROUNDS[standing, reason]()


def after_ladder(verdict: str, reason: str | None, aim: str = "carry over") -> str:
    """After batches or days, or after the seconds that an aftertaste stayed."""
    return (_AFTERTASTE if aim == "aftertaste" else _LADDER)[verdict, reason]()


def after_doses(verdict: str, reason: str | None) -> str:
    """After a threshold."""
    return _DOSES[verdict, reason]()


def _accept_or_less() -> str:
    return _(
        "Next: if it is to be noticed, keep this dose and sign. If it is not, infuse less and test that in a new study."
    )


def _mend_first() -> str:
    return _(
        "Next: go through fill list, labels and question with the kitchen before anything else is tasted; then plan a "
        "new study."
    )


def _taste_better() -> str:
    return _(
        "Next: find out why the panel missed a cup that differs: rests too short, a cold, smoke or coffee before. Then "
        "plan a new study."
    )


def _more_people() -> str:
    return _("Next: plan a new study with more people, or with a larger limit, and sign this one as undecided.")


def _more_answers() -> str:
    return _("Next: plan a new study with more sets, more people, or a larger limit, and sign this one as undecided.")


def _with_control() -> str:
    return _("Next: plan a new study with a cup known to differ among the sets; without it nothing is close enough.")


_UNDECIDED: Steps = {
    ("cannot tell", "fewer right than guessing"): _mend_first,
    ("cannot tell", "control not found"): _taste_better,
    ("cannot tell", "no control"): _with_control,
    ("cannot tell", "too few people to show it"): _more_people,
    ("cannot tell", "between the marks"): _more_answers,
}
_TEST: Steps = {
    **_UNDECIDED,
    ("different", None): _accept_or_less,
    ("similar", None): lambda: _(
        "Next: take the two as one in taste, and sign. If it is to be noticed, infuse more and test that in a new "
        "study."
    ),
    ("different and similar", None): lambda: _(
        "Next: keep to the limit that was sealed, and sign: so few notice it that it passes. If fewer may, plan a new "
        "study with a smaller limit."
    ),
}
_ROUNDS: Steps = {
    **_UNDECIDED,
    ("different", None): _accept_or_less,
    ("same", None): lambda: _(
        "Next: take the two as one in taste for these people, and sign. To speak for others, plan a study in which "
        "many people taste once."
    ),
    ("go on", None): lambda: _("Next: taste the next round."),
    ("cannot tell", "those who stayed away"): lambda: _(
        "Next: ask those who stayed away why; then plan a new study for people who can come to every round."
    ),
    ("cannot tell", "closed early"): lambda: _("Next: plan a new study and taste it to its end."),
}
_LADDER: Steps = {
    **_UNDECIDED,
    ("gone", None): lambda: _(
        "Next: keep what comes before it apart from what shall taste plain, and sign. That nobody tastes it says "
        "nothing about a label."
    ),
    ("still found", None): lambda: _(
        "Next: clean, purge or wait longer, and test what comes later in a new study; until then keep all of this "
        "apart."
    ),
    ("cannot tell", "found again"): lambda: _(
        "Next: look for what happened in between, such as mixed boxes or another batch; then test what comes later in "
        "a new study."
    ),
}
_AFTERTASTE: Steps = {
    **_UNDECIDED,
    ("gone", None): lambda: _(
        "Next: if it stays as long as you want and no longer, keep this dose and sign. If not, infuse more or less and "
        "test that in a new study."
    ),
    ("still found", None): lambda: _(
        "Next: ask about later times in a new study, or take it that it stays at least so long, and sign."
    ),
    ("cannot tell", "found again"): lambda: _(
        "Next: look for what happened in between, such as mixed boxes or a short rest; then ask about later times in a "
        "new study."
    ),
}
_DOSES: Steps = {
    **_UNDECIDED,
    ("found from", None): lambda: _(
        "Next: to have it noticed, infuse above the upper limit; to keep it unnoticed, test a dose below the lower one "
        "in a new study."
    ),
    ("found at the lowest", None): lambda: _("Next: taste smaller doses in a new study."),
    ("not found", None): lambda: _(
        "Next: taste larger doses in a new study, as far as whoever clears them as food allows."
    ),
}
