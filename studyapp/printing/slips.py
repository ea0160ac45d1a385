"""Paper for the people who taste: cards with the join links, and ballots for when the network is down."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from studyapp.findings.facts import plant
from studyapp.findings.numbers import decimal
from studyapp.methods import METHODS
from studyapp.printing.press import shown_time, typeset
from studyapp.printing.sheet import NO_SHEET, Sheet
from studyapp.records import CupsPlan, JoinLink, SetsPlan, Sitting, StudyPlan, Tray
from studyapp.words import _, language

_BORDER = 4


def join_cards_pdf(links: Sequence[JoinLink], base_url: str, printed_at: str, sitting: str = "") -> bytes:
    """A card a person: name, a square to scan, and the same address to type. PDF.

    The codes can be read only once, when they are issued, so this is called with what `issue_links` returned.
    """
    cards = [_card(link, f"{base_url.rstrip('/')}/join/{link.code}") for link in links]
    words = {
        "page": _("page {n} of {m}"),
        "printed": _("printed {time}").format(time=shown_time(printed_at)),
        "scan": _("Scan the square with your phone, or type this address:"),
        "own": _("For you alone and for this tasting only. Keep it to yourself."),
    }
    data = {"title": _("Cards for joining"), "lang": language(), "sitting": sitting, "words": words, "cards": cards}
    return typeset("cards", data, printed_at)


def _card(link: JoinLink, address: str) -> dict[str, str]:
    import segno

    drawn = BytesIO()
    segno.make(address, error="m", micro=False).save(drawn, kind="svg", border=_BORDER, xmldecl=False)
    return {
        "name": link.pseudonym,
        "address": address,
        "square": drawn.getvalue().decode(),
        "alt": _("Square to scan for {name}: {address}").format(name=link.pseudonym, address=address),
    }


# ---- ballots -----------------------------------------------------------------------------------------------------
def ballots_pdf(
    trays: Sequence[Tray], sitting: Sitting, plan: CupsPlan | SetsPlan, printed_at: str, sheet: Sheet = NO_SHEET
) -> bytes:
    """Paper ballots, person by person: what is served, then the servings with lines of exactly 100 mm, or the sets with
    a box at each code, as many on a page as it takes. PDF."""
    sets = isinstance(plan, SetsPlan)
    data = {
        "title": _("Paper ballots, {sitting}").format(sitting=sitting.label),
        "lang": language(),
        "sitting": _("{sitting}: paper ballot, typed in twice by two people").format(
            sitting=sheet.blind(sitting.label)
        ),
        "words": _ballot_words(printed_at) | (_set_words(plan) if isinstance(plan, SetsPlan) else {}),
        "sets": sets,
        "attributes": []
        if isinstance(plan, SetsPlan)
        else [
            {
                "name": attribute.name[:1].upper() + attribute.name[1:],
                "definition": attribute.definition,
                "low": attribute.low_word,
                "high": attribute.high_word,
            }
            for attribute in plan.attributes
        ],
        "people": [
            {
                "name": name,
                "welcome": _welcome(plan),
                "servings": _sets(trays, seat, name) if sets else _servings(trays, seat, name),
            }
            for seat, name in _seats(trays)
        ],
    }
    return typeset("ballots", data, printed_at)


def _seats(trays: Sequence[Tray]) -> list[tuple[int, str]]:
    return sorted({(cup.seat, cup.pseudonym) for tray in trays for cup in tray.cups})


def _servings(trays: Sequence[Tray], seat: int, name: str) -> list[dict[str, str]]:
    scored = sorted((tray for tray in trays if tray.position > 0), key=lambda tray: tray.position)
    title = _("{name}: serving {n} of {m}, cup")
    return [
        {"title": title.format(name=name, n=tray.position, m=len(scored)), "code": cup.code}
        for tray in scored
        for cup in tray.cups
        if cup.seat == seat
    ]


def _sets(trays: Sequence[Tray], seat: int, name: str) -> list[dict[str, Any]]:
    """The codes of each set in the order of tasting."""
    own = [(tray, [cup.code for cup in tray.cups if cup.seat == seat]) for tray in trays]
    served = [codes for _tray, codes in sorted(own, key=lambda one: one[0].position) if codes]
    title = _("{name}: set {n} of {m}")
    return [
        {"title": title.format(name=name, n=number, m=len(served)), "code": "", "codes": codes}
        for number, codes in enumerate(served, 1)
    ]


def _set_words(plan: SetsPlan) -> dict[str, str]:
    method = METHODS[plan.method]
    told = _("Taste the cups in the order printed, from left to right. No idea? Choose all the same; a guess is fine.")
    first = _("The first cup is the reference and is not chosen.") if method.reference_first else ""
    return {"stroke_once": f"{told} {first}".strip(), "measure": "", "ask": method.question(plan.note)}


def _welcome(plan: StudyPlan) -> list[tuple[str, str]]:
    minutes = plan.rest_seconds / 60
    contains = (
        _("Contains {contains}.").format(contains=plan.contains)
        if plan.contains
        else _("Ask the preparer for the list of ingredients before you taste.")
    )
    traces = (
        _("Made where {traces} are handled, so traces are possible in every piece.").format(traces=plan.traces)
        if plan.traces
        else ""
    )
    warned = plant(plan.warned_of) if plan.warned_of else ""
    leave = _("If any of this is not for you, or you are unwell today, do not taste.")
    return [
        (_("What is in it"), " ".join(part for part in (contains, warned, traces, leave) if part)),
        (
            _("Your choice"),
            _(
                "Tasting is your choice each time, and you may stop at any moment. Saying no has no effect on your "
                "work, and nobody asks why."
            ),
        ),
        (
            _("How it goes"),
            _("Taste in the order given: {swallow}. Between servings rest {n} min. {routine}").format(
                swallow=plan.swallow,
                n=decimal(minutes, 0 if minutes.is_integer() else 1),
                routine=plan.routine,
            ),
        ),
    ]


def _ballot_words(printed_at: str) -> dict[str, Any]:
    return {
        "page": _("page {n} of {m}"),
        "printed": _("printed {time}").format(time=shown_time(printed_at)),
        "welcome": _("Tasting"),
        "agree": _("I have read this and I taste today."),
        "not_today": _("Not today."),
        "stroke_once": _(
            "Take each cup by its code, in this order. Put one short stroke across each line. Only what you taste "
            "counts, and you need not say why."
        ),
        "cannot_judge": _("I cannot judge this one, because"),
        "measure": _(
            "Each line is exactly 100 mm: measure from its left end, the millimetres divided by ten are the mark. "
            "Print at 100 %, not fitted to the page."
        ),
    }
