"""Bring: a verdict on scores that were tasted elsewhere, under a rule from a file or typed here."""

from __future__ import annotations

import tempfile
from pathlib import Path

import streamlit as st

from studyapp import session
from studyapp.components import acts, look
from studyapp.kinds.hours.files import bringing
from studyapp.kinds.hours.findings import hours_finding
from studyapp.kinds.hours.pages import rule_fields, verdict
from studyapp.words import _


def render() -> None:
    """Two files in, one verdict out; nothing is stored."""
    look.put(
        look.title(_("Bring scores you have")),
        look.lede(_("A table of scores and a rule give the same verdict as a study tasted here. Nothing is stored.")),
        look.quiet(_("One row a score with the columns assessor, hours, attribute, score; or a column an attribute.")),
    )
    scores = st.file_uploader(_("Scores (CSV, XLSX or Parquet)"), ["csv", "xlsx", "parquet"], key="bring-scores")
    if scores is None:
        look.put(look.quiet(_("No scores yet.")))
        return
    with tempfile.TemporaryDirectory() as folder, acts.refusals():
        path = _kept(folder, scores.name, scores.getvalue())
        rule = _rule(folder, path)
        if rule is not None:
            _verdict(path, rule)


def _kept(folder: str, name: str, content: bytes) -> Path:
    """The upload as a file under its own name, so that a refusal can name it."""
    path = Path(folder) / Path(name).name
    path.write_bytes(content)
    return path


def _rule(folder: str, scores: Path) -> Path | None:
    """The rule file, or the typed rule written as one."""
    ways = {"file": _("I have a rule file"), "fields": _("I type the rule here")}
    way = st.radio(_("The rule"), list(ways), 1, format_func=ways.get, horizontal=True, key="bring-way")
    if way == "file":
        uploaded = st.file_uploader(_("Rule (TOML)"), ["toml"], key="bring-rule")
        return None if uploaded is None else _kept(folder, uploaded.name, uploaded.getvalue())
    frame = bringing.read_scores(scores)
    text = rule_fields.draw(list(dict.fromkeys(frame["attribute"])), sorted(frame["hours"].unique()))
    with st.expander(_("The same rule as a file")):
        st.code(text, language="toml")
    asked = st.button(_("Work out the verdict"), type="primary", key="bring-decide")
    return _kept(folder, "RULE.toml", text.encode()) if asked else None


def _verdict(scores: Path, rule: Path) -> None:
    with st.spinner(_("Working out the verdict…")):
        decision, offers = bringing.decide_files(scores, rule)
    finding = hours_finding(decision, offers, scores.name)
    verdict.head(finding, look.quiet(_("Not sealed: this rule was written with the scores at hand.")), 2)
    if decision.verdict == "cannot tell":
        verdict.price(decision, finding)
    verdict.pictures(decision, finding, session.theme())
    verdict.batches(decision)
    verdict.changes(finding)
    verdict.numbers(decision, finding, bringing.second_opinion(scores, rule, decision))
    verdict.caution(finding)
