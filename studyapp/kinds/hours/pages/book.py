"""The hours book of a recipe and machine, and whether the hour is worth its tastings."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import streamlit as st

from studyapp import session
from studyapp.components import acts, drawn, look
from studyapp.kinds.hours.deciding import book as books
from studyapp.kinds.hours.deciding.book import MOST_BATCHES, Book, Payoff, Prices
from studyapp.kinds.hours.findings import book as findings
from studyapp.kinds.hours.pictures.book import batches_down, saved_against_spent
from studyapp.records import Staff
from studyapp.words import _


def render() -> None:
    """The book of the study in the address, or the choice among books."""
    by, store = session.someone("leader"), session.store()
    known = books.books(store, by)
    if not known:
        look.put(look.title(_("Hours book")), look.lede(_("No batch yet. The book begins with the first signature.")))
        return
    wanted = session.study_id()
    names = [findings.name(one) for one in known]
    if wanted is None:
        chosen = st.selectbox(_("Recipe and machine"), range(len(known)), format_func=names.__getitem__, key="which")
        found = known[chosen]
    else:
        found = books.book_of(store, by, wanted)
    study = found.entries[-1].study.id
    if session.kept(f"worth-{study}", False):
        _worth(by, found, study)
    else:
        _book(by, found, study)


def _book(by: Staff, found: Book, study: str) -> None:
    look.put(look.crumb(_("Studies"), findings.name(found), session.href("studies")))
    look.put(look.title(findings.headline(found), 1, "verdict"), look.lede(findings.lede(found)))
    if any(one.study.example for one in found.entries):
        look.put(look.pill(_("invented")))
    look.put(look.facts([(fact.label, fact.value, fact.note) for fact in findings.facts(found)]))
    _outdated(found)
    with st.container(key="card-book"):
        look.put(look.title(_("What did each batch say?"), 2), _legend())
        with st.container(key="sideways"):
            drawn.put(json.dumps(batches_down(found, session.theme())), findings.picture_says(found))
    left, right = st.columns(2)
    with left, st.container(key="card-said"):
        look.put(look.title(_("What may be said, and of what"), 2))
        signs = {"disc": "disc", "cross": "cross", "ring": "ring", "dash": "dash"}
        look.put(
            look.rows(
                look.row(look.sign(signs[sign]) + " " + look.plain(words), look.strong(hour))  # type: ignore[arg-type]
                for sign, words, hour in findings.said_of(found)
            )
        )
    with right:
        with st.container(key="wash-confirm"):
            look.put(look.title(_("Next: confirm in {batch}").format(batch=findings.next_batch(found)), 2))
            look.put(look.text(findings.how_to_confirm(found)), look.quiet(findings.kept_pieces(found, date.today())))
            if (found.in_use or found.withdrawn) and st.button(_("Confirm in the next batch"), key="confirm"):
                with acts.refusals():
                    session.go("plan", study=books.confirm(session.store(), by, study))
        with st.container(key="card-ends"):
            look.put(look.title(_("What ends an entry"), 2), look.bullets(findings.ends_when(found)))
    with st.container(horizontal=True):
        if st.button(_("Is it worth it?"), key="to-worth"):
            session.keep(f"worth-{study}", True)
            st.rerun()
        if found.in_use is not None:
            st.link_button(_("Print the process card"), f"/print/card/{study}")
        st.link_button(_("Print the book"), f"/print/book/{study}")


def _outdated(found: Book) -> None:
    old = found.outdated
    if old is not None:
        now = found.longest if found.in_use is None else found.in_use
        told = _("It says {old}; in use is {now}.").format(old=findings.h(old.card or 0.0), now=findings.h(now))
        take = _("Take the process card of {study} off the machine.").format(study=old.study.plan.title)
        look.put(look.box("copper", take, look.text(told)))


def _legend() -> str:
    parts = (
        look.chip("diamond", _("chosen")),
        look.chip("disc", _("within"), "patina"),
        look.chip("cross", _("not shown"), "copper"),
        look.chip("reference", _("that batch's longest pull")),
    )
    return f'<p class="say legend">{"".join(parts)}</p>'


# ---- worth -----------------------------------------------------------------------------------------------------------
def _worth(by: Staff, found: Book, study: str) -> None:
    store = session.store()
    typed = books.prices(store, by, found)
    told = books.worth(found, typed)
    look.put(look.crumb(findings.name(found), _("Is it worth it?"), session.href("hours_book", study=study)))
    look.put(look.title(findings.worth_headline(told, MOST_BATCHES), 1, "verdict"))
    if told is not None:
        look.put(look.lede(findings.worth_lede(told, found, typed.batches_a_year)))
        _sums(told, typed)
    elif found.in_use is None:
        look.put(look.lede(_("No shorter hour is in use, so nothing is saved.")))
    look.put(look.caution(findings.what_can_go_wrong(found), _("What can go wrong, in numbers")))
    _prices(by, study, typed)
    with st.container(horizontal=True):
        st.link_button(_("Print this page"), f"/print/worth/{study}", type="primary")
        if st.button(_("Open the hours book"), key="to-book"):
            session.forget(f"worth-{study}")
            st.rerun()


def _sums(told: Payoff, typed: Prices) -> None:
    left, right = st.columns([5, 3])
    with left, st.container(key="card-worth"):
        look.put(look.title(_("Saved against spent"), 2), look.quiet(_("money, in your currency")))
        picture = saved_against_spent(told, typed.batches_a_year, session.theme())
        drawn.put(json.dumps(picture), findings.worth_says(told, typed.batches_a_year))
    with right:
        for key, name, lines in (
            ("saved", _("Saved, a batch"), told.saved),
            ("spent", _("Spent on knowing"), told.spent),
        ):
            with st.container(key=f"card-{key}"):
                rows = [look.row(look.plain(label), look.strong(money)) for label, money in findings.lines_of(lines)]
                look.put(look.title(name, 2), look.rows(rows))


def _prices(by: Staff, study: str, typed: Prices) -> None:
    """Four prices in sight, the others folded; kept with the study, so that the print says the same."""
    labels = {
        "batches_a_year": _("Batches a year"),
        "machine_hour": _("Machine hour"),
        "kwh": _("A kWh"),
        "person_hour": _("A person, one hour"),
        "kw": _("Power of the conche, kW"),
        "minutes": _("Minutes of people saved a batch"),
        "mass_kg": _("Mass, a kg"),
        "reading": _("A reading"),
        "second_grade": _("Lost on a batch sold as second grade"),
    }
    first = list(labels)[:4]
    with st.container(key="card-prices"), st.form("prices", border=False):
        values = dict(
            zip(
                first,
                (_price(cell, typed, name, labels) for cell, name in zip(st.columns(4), first, strict=True)),
                strict=True,
            )
        )
        with st.expander(_("More prices")):
            values |= {name: _price(st, typed, name, labels) for name in labels if name not in first}
        if st.form_submit_button(_("Reckon again")):
            with acts.refusals():
                kept = {name: value for name, value in values.items() if value is not None}
                books.keep_prices(session.store(), by, study, Prices(**kept))
                st.rerun()


def _price(place: Any, typed: Prices, name: str, labels: dict[str, str]) -> float | None:
    now = None if getattr(typed, name) is None else float(getattr(typed, name))
    found = place.number_input(labels[name], 0.0, 1e6, now, 0.01, format="%.6g", key=f"price-{name}")
    return None if found is None else float(found)
