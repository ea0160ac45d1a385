"""Who sits at this browser and what it looks at: the only user of session state, query parameters and the context.

Identity is the cookie, looked up in the store on every run; it is never kept in session state, because a tab that
knows another tab's id takes over that state. Tests replace `read_cookies`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NoReturn, TypeVar

import streamlit as st

from studyapp import cookies
from studyapp.errors import NotAllowed
from studyapp.pictures.theme import SCREENS, Theme
from studyapp.records import PlaceKind, Role, Seat, Staff
from studyapp.services import accounts, joining
from studyapp.services.refining import AT_ONCE_SECONDS, Refining
from studyapp.store import Store
from studyapp.words import _

T = TypeVar("T")
_open: dict[str, Any] = {"store": None, "demo": False, "address": ""}


# ---- the server's side ---------------------------------------------------------------------------------------------
def use(store: Store | None, *, demo: bool = False, address: str = "") -> None:
    """Make the store that the server opened the one of every tab; `address` is where phones reach it."""
    _open.update(store=store, demo=demo, address=address)


def store() -> Store:
    """The open store."""
    if _open["store"] is None:
        raise RuntimeError("session.use(store) comes first")
    kept: Store = _open["store"]
    return kept


def demo() -> bool:
    """True when this server shows the invented workshop."""
    return bool(_open["demo"])


def address() -> str:
    """Where phones on the same network reach this server, for example http://192.168.1.20:8501."""
    return str(_open["address"]) or _this_address()


def _this_address() -> str:
    """The address this browser uses, for a server that has not been told one."""
    return (st.context.url or "").split("?")[0].rstrip("/")


def who(browser: Mapping[str, str], secret: bool) -> str | None:
    """Under which name a browser with these cookies is counted: None for a stranger, empty where everybody may look
    around. `secret` says whether the connection is."""
    seat = joining.seat_of(store(), cookies.token(browser, "seat", secure=secret))
    if seat is not None:
        return f"seat {seat.assessor} {seat.sitting}"
    staff = accounts.staff_of(store(), cookies.token(browser, "staff", secure=secret))
    if staff is not None:
        return f"staff {staff.id}"
    return "" if demo() or accounts.needs_first_leader(store()) else None


# ---- who -------------------------------------------------------------------------------------------------------------
def _browser_cookies() -> Mapping[str, str]:
    return dict(st.context.cookies)


read_cookies: Callable[[], Mapping[str, str]] = _browser_cookies


def _token(kind: cookies.Kind) -> str | None:
    return cookies.token(read_cookies(), kind, secure=str(st.context.url or "").startswith("https:"))


def seat_token() -> str | None:
    """The token of the seat this browser holds."""
    return _token("seat")


def seat() -> Seat | None:
    """The assessor at this browser, asked anew from the store."""
    return joining.seat_of(store(), seat_token())


def seat_gone() -> tuple[Seat, PlaceKind] | None:
    """Whose seat this browser held, when the sitting goes on without it, and why."""
    return joining.seat_gone(store(), seat_token())


def staff() -> Staff | None:
    """The leader or preparer at this browser, asked anew from the store."""
    return accounts.staff_of(store(), _token("staff"))


def someone(*roles: Role) -> Staff:
    """The leader or preparer at this browser; with `roles`, only these.

    Raises:
        NotAllowed: nobody is signed in, or somebody of another role.
    """
    found = staff()
    if found is None:
        raise NotAllowed(_("Not done: you are signed out. Sign in again; what you did before is kept."))
    if roles and found.first:
        raise NotAllowed(_("Not done: choose a passphrase of your own first, under Account."))
    if roles and found.role not in roles:
        raise NotAllowed(_("Not done: your role does not open this page. Ask the panel leader."))
    return found


# ---- what ------------------------------------------------------------------------------------------------------------
def study_id() -> str | None:
    """The study named in the address."""
    return st.query_params.get("study")


def sitting_id() -> str | None:
    """The sitting named in the address."""
    return st.query_params.get("sitting")


def batch_id() -> str | None:
    """The batch named in the address."""
    return st.query_params.get("batch")


def just_kept() -> str:
    """What was kept at the moment this page was opened, as the address names it."""
    return st.query_params.get("kept", "")


def look_at(**ids: str) -> None:
    """Put `study` or `sitting` into the address, so that a reload stays there."""
    st.query_params.update(ids)


def know_pages(pages: Mapping[str, Any]) -> None:
    """Remember this run's pages by name."""
    st.session_state["_pages"] = dict(pages)


def page(name: str) -> Any:
    """A page this role may open, for `st.page_link`; None when it may not."""
    return st.session_state.get("_pages", {}).get(name)


def go(name: str, **ids: str) -> NoReturn:
    """Open another page: studies, plan, prepare, watch, open_key, decide, bring, first_run or sign_in."""
    target = page(name)
    if target is None:
        raise NotAllowed(_("Not done: your role does not open this page. Ask the panel leader."))
    st.switch_page(target, query_params=ids)


def href(name: str, **ids: str) -> str:
    """The address of a page, for a link in a text."""
    from urllib.parse import urlencode

    path = getattr(page(name), "url_path", "") or ""
    return f"/{path}" + (f"?{urlencode(ids)}" if ids else "")


# ---- what a tab remembers (drafts, never identity) ------------------------------------------------------------------
def kept(name: str, default: T) -> T:
    """What this tab remembers under a name."""
    value: T = st.session_state.get(f"_kept_{name}", default)
    return value


def keep(name: str, value: object) -> None:
    """Remember something in this tab."""
    st.session_state[f"_kept_{name}"] = value


def forget(name: str) -> None:
    """Forget what this tab remembers under a name."""
    st.session_state.pop(f"_kept_{name}", None)


def unfold(keys: Iterable[str], key: str) -> None:
    """Of the parts of this page that fold, open one and close the others; before they are drawn."""
    for each in keys:
        st.session_state[each] = each == key


def refined(
    name: str, question: object, steps: Callable[[], Iterator[T | None]], at_once: float = AT_ONCE_SECONDS
) -> Refining[T]:
    """The work on a question; another question under the same name ends the work on the one before. The page waits for
    its first step, and `at_once` seconds for more."""
    before, work = kept(name, (None, None))
    if work is None or before != question:
        give_up(name)
        work = Refining(steps(), at_once)
        keep(name, (question, work))
    return work


def give_up(name: str) -> None:
    """End the work under a name and forget what it found."""
    _question, work = kept(name, (None, None))
    if work is not None:
        work.cancel()
    forget(name)


def theme() -> Theme:
    """The device's choice of colours."""
    return SCREENS["dark" if st.context.theme.type == "dark" else "light"]
