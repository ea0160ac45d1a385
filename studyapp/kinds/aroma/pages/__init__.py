"""A study of an infused aroma on the screens: its part of the pages that every kind shares.

What draws charts is imported when it is asked for: the list of studies names every kind and waits for none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from studyapp import session
from studyapp.kinds.aroma.pages import key, seal
from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy
from studyapp.records import Problem, Staff
from studyapp.registry import Kitchen, Opening, OwnPage
from studyapp.words import _


def asks() -> str:
    """What such a study asks."""
    return _("Is an infused aroma noticed?")


def own_pages() -> dict[str, OwnPage]:
    """None."""
    return {}


def fields(by: Staff, study: AromaStudy) -> tuple[AromaPlan, Sequence[Problem]]:
    """The fields of a draft; the plan as it stands, and what cannot be read."""
    from studyapp.kinds.aroma.pages import draft

    return draft.fields(by, study)


def chances(by: Staff, plan: AromaPlan, problems: Sequence[Problem]) -> None:
    """What the plan can show."""
    from studyapp.kinds.aroma.pages import draft

    draft.chances(by, plan, problems)


def closing_cost(by: Staff, study: AromaStudy, gaps: Mapping[int, int], number: int, left: int) -> None:
    """Nothing: no chance is reckoned with what is missing."""


def decide(by: Staff, study: AromaStudy) -> None:
    """The verdict of an opened study."""
    from studyapp.kinds.aroma.pages import decided

    decided.decide(by, study)


def caution() -> str:
    """What the seal does not say."""
    return seal.caution()


def beside_rule(plan: AromaPlan) -> Sequence[str]:
    """What is in the cups."""
    return seal.cups(plan)


def hidden(plan: AromaPlan) -> str:
    """What nobody sees while the key is closed."""
    return key.hidden(plan)


def opening(plan: AromaPlan) -> Opening:
    """What the page says before the key opens."""
    return key.opening(plan)


def sealed(by: Staff, study: AromaStudy) -> None:
    """When batches are made, aged and tasted."""
    from studyapp.kinds.aroma.pages import when

    when.sealed(study)


def kitchen(plan: AromaPlan) -> Kitchen:
    """What the page of the kitchen says."""
    return Kitchen(
        _("One set a person: put the cups down from left to right in this order."),
        _("The fill list tells which cup holds the plant. Keep it away from the tasting room."),
    )


def reached_its_end(by: Staff, study: AromaStudy, over: bool) -> bool:
    """Whether the key may be asked for; draws the rounds of a plan that may end early, and says what answers that were
    lost have cost."""
    if study.plan.sequential:
        return key.standing(session.store(), by, study, session.theme())
    if over:
        key.lost(session.store(), by, study)
    return over


def still_open(by: Staff, study: AromaStudy, left: int) -> str:
    """What must be done before the key opens; empty when it may."""
    wanted = key.still_wanted(session.store(), by, study, left)
    return key.still_open(wanted) if wanted else ""
