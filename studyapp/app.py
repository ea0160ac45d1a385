"""The frame around every screen: who is this, which pages may they open, and what to say when something is refused."""

from __future__ import annotations

import contextlib
import importlib
from collections.abc import Callable, Mapping, Sequence

import streamlit as st

from studyapp import registry, session, words
from studyapp.components import credentials, look
from studyapp.errors import StudyError
from studyapp.records import Seat, Staff
from studyapp.registry import OwnPage
from studyapp.services import accounts, planning
from studyapp.words import _


def _titles() -> dict[str, str]:
    return {
        "taste": _("Tasting"),
        "first_run": _("Start"),
        "sign_in": _("Sign in"),
        "studies": _("Studies"),
        "plan": _("Plan"),
        "prepare": _("Prepare"),
        "batches": _("Batches"),
        "batch": _("Batch"),
        "write_batch": _("Write the batch"),
        "readings": _("Readings"),
        "butter": _("Butter"),
        "surface": _("Surface"),
        "watch": _("Watch"),
        "papers": _("Paper ballots"),
        "open_key": _("Open the key"),
        "decide": _("Decide"),
        "panel": _("Panel"),
        "account": _("Account"),
        "limits": _("What this cannot prevent"),
    }


OF_BATCHES = ("batch", "write_batch", "readings", "butter", "surface")
LEADS = (
    *("studies", "batches", "prepare", "watch", "panel", "account", "plan", "papers", "open_key", "decide"),
    *OF_BATCHES,
)
ROLES: Mapping[str, tuple[str, ...]] = {
    "assessor": ("taste",),
    "preparer": ("prepare", "batches", "account", "papers", "limits", *OF_BATCHES),
    "leader": (*LEADS, "limits"),
    # Whoever still has a first passphrase gets the page Account at every address they may have kept.
    "first passphrase": ("account", "limits", *(name for name in LEADS if name != "account")),
    "newcomer": ("first_run", "sign_in", "limits"),
    "nobody": ("sign_in", "limits"),
}
UNLISTED = ("plan", "papers", "open_key", "decide", "limits", *OF_BATCHES)  # reached from other pages


def _role(seat: Seat | None, staff: Staff | None) -> str:
    """One browser is one person at one job; a seat comes first, because it shows least."""
    if seat is not None:
        return "assessor"
    if staff is not None:
        return "first passphrase" if staff.first else staff.role
    return "newcomer" if session.demo() or accounts.needs_first_leader(session.store()) else "nobody"


def _own_pages(role: str) -> dict[str, OwnPage]:
    """Pages that one kind of study alone has, for who may open them."""
    if role in ("assessor", "nobody"):
        return {}
    pages = (page for kind in registry.KINDS for page in registry.pages(kind).own_pages().items())
    return {name: page for name, page in pages if role in page.roles}


def _screen(name: str) -> Callable[[], None]:
    """A page that imports its screen only when it is drawn: an assessor's phone never waits for the charts."""
    return _refused_in_words(lambda: importlib.import_module(f"studyapp.screens.{name}").render())


def _refused_in_words(render: Callable[[], None]) -> Callable[[], None]:
    def draw() -> None:
        try:
            render()
        except StudyError as refused:
            look.put(look.box("brick", "", look.text(str(refused))))

    return draw


def _pages(role: str) -> dict[str, st.Page]:
    """Every page of a role; some are reached from others and stay out of the menu."""
    titles = _titles()
    pages = {
        name: st.Page(
            _screen("account" if role == "first passphrase" and name != "limits" else name),
            title=titles[name],
            url_path=_path(name) if number else "first",
            default=number == 0,
            visibility="hidden" if name in UNLISTED else "visible",
        )
        for number, name in enumerate(ROLES[role])
    }
    for name, page in _own_pages(role).items():
        draw = _refused_in_words(page.render)
        pages[name] = st.Page(draw, title=page.title, url_path=_path(name), visibility="hidden")
    return pages


def _path(name: str) -> str:
    return name.replace("_", "-")


def _first_by_name(role: str) -> st.Page:
    """The first page again: as the default it answers at / alone, and not at the address that others hand on."""
    first = ROLES[role][0]
    return st.Page(_screen(first), title=_titles()[first], url_path=_path(first), visibility="hidden")


def _window(page: str, staff: Staff) -> str:
    """What a tab is called among others: its page, and the study it shows. A phone that tastes is never told."""
    with contextlib.suppress(StudyError):
        if study := session.study_id():
            return f"{planning.study(session.store(), staff, study).plan.title}: {page}"
    return page


def _menu(pages: Sequence[st.Page]) -> None:
    """Where one can go, in words on every width: Streamlit's own menu is a bare sign on a phone."""
    with st.container(horizontal=True, key="menu"):
        for page in pages:
            st.page_link(page)


def _demo_band(seat: Seat | None) -> None:
    """What is shown here is invented: say so on every page, and let one person try each role."""
    links = [("leader", _("Leader")), ("preparer", _("Preparer")), ("assessor", _("Assessor"))]
    if seat is not None:
        links.append(("leader?watch", _("Next: watch the sitting you taste in")))
    drawn = "".join(f'<a href="/demo/{role}" target="_self">{look.plain(word)}</a>' for role, word in links)
    name = look.plain(_("Roles of the invented panel"))
    st.html(f'<nav class="invented" aria-label="{name}">{look.strong(_("Invented panel"))}{drawn}</nav>')


def _walk(page: str, staff: Staff) -> None:
    """The next step of the walk through the invented workshop, above the pages of its study."""
    from studyapp.screens import walking

    walking.draw(page, staff)


def main() -> None:
    """Draw one page for whoever holds this browser."""
    words.speak(words.nearest(st.context.locale or ""))
    seat = session.seat()
    staff = None if seat else session.staff()
    gone = session.seat_gone() if seat is None and staff is None else None
    role = _role(seat or (gone and gone[0]), staff)
    st.set_page_config(
        page_title=_("Tasting") if role == "assessor" else _("When can the conche stop?"),
        layout="wide" if role in ("leader", "preparer", "newcomer") else "centered",
    )
    look.dress(session.theme())
    pages = _pages(role)
    session.know_pages(pages)
    chosen = st.navigation([*pages.values(), _first_by_name(role)], position="hidden")
    if staff is not None:
        st.set_page_config(page_title=_window(chosen.title, staff))
        _menu([page for name, page in pages.items() if name in ROLES[role] and name not in UNLISTED])
    if session.demo():
        _demo_band(seat)
    if session.demo() and staff is not None and role == "leader":
        _refused_in_words(lambda: _walk(chosen.url_path.replace("-", "_"), staff))()
    chosen.run()
    if staff is not None:
        credentials.sign_out(staff)


main()
