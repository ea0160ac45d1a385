"""Plan: write the rule of one study, see what it can show, and seal it."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import acts, chooser, look, panel_list, plan_seal
from studyapp.records import SealSlip, Staff, Study
from studyapp.screens import batch, sealing
from studyapp.services import planning
from studyapp.words import _


def render() -> None:
    """The draft with its fields, or the sealed rule to read."""
    by, store = session.someone("leader"), session.store()
    states = ("draft", "sealed", "opened", "decided")
    study = chooser.study(
        store, by, session.study_id(), states, _("Plan"), _("Nothing is planned yet. Begin under Studies.")
    )
    if study is None:
        return
    heading = _("Plan: {title}").format(title=study.plan.title)
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(heading))
    if study.state == "draft":
        _draft(by, study)
    else:
        _sealed(by, study)


def _draft(by: Staff, study: Study[Any]) -> None:
    """The fields; beside them what the plan can show, and its seal."""
    kind = registry.pages(study.kind)
    left, right = st.columns([9, 5], gap="large")
    with left:
        plan, unread = kind.fields(by, study)
    problems = (*unread, *registry.rule(study.kind).problems(plan))
    with right, st.container(key="beside"):
        chances = st.container(key="wash-power")
        sealing.offer(study.id, problems, lambda: _asked(by, study.id))
        with chances, acts.refusals():
            kind.chances(by, plan, problems)


def _asked(by: Staff, study_id: str) -> SealSlip | None:
    """The last look at the rule as it is kept."""
    store = session.store()
    study = planning.study(store, by, study_id)
    return plan_seal.dialog(
        study,
        registry.rule(study.kind).sentences(study.plan),
        lambda typed: planning.seal(store, by, study_id, typed),
        registry.pages(study.kind).caution(),
    )


def _sealed(by: Staff, study: Study[Any]) -> None:
    """The sealed rule to read, what belongs to it, and the way on."""
    kind = registry.pages(study.kind)
    sealing.fresh_slip(study.id)
    panel_list.nobody_prepares(session.store(), by)
    rule = registry.rule(study.kind).sentences(study.plan, study.named)
    plan_seal.sealed_view(study, rule, kind.beside_rule(study.plan))
    kind.sealed(by, study)
    batch.elsewhere(by, study)
    sealing.way_on(by, study.id)
