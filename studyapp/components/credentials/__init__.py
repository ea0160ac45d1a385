"""Names and passphrases of panel leaders and preparers, and the way out. Posted to a route, never through a widget."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from studyapp.components import phone
from studyapp.records import Assessor, Role, Staff
from studyapp.words import _

Field = dict[str, Any]
_CREDENTIALS = phone.page("credentials", "credentials/credentials.css", "credentials/credentials.js")
_SIGN_OUT = phone.page("sign_out", "credentials/sign_out.css", "credentials/sign_out.js")


def roles() -> dict[Role, str]:
    """The roles of those who run studies, in words."""
    return {"preparer": _("preparer"), "leader": _("panel leader")}


# ---- at the door ---------------------------------------------------------------------------------------------------
def sign_in() -> None:
    """The form for somebody who has an account."""
    phone.show(_CREDENTIALS, "form-sign-in", to_sign_in())


def to_sign_in() -> dict[str, Any]:
    """What that form is drawn from."""
    said = {"title": _("Sign in"), "text": _("For panel leaders and preparers. To taste, open your own link instead.")}
    fields = [_name("username"), _secret("passphrase", _("Passphrase"), "current-password")]
    return _drawn_from("/sign-in", fields, said | {"go": _("Sign in")}, then="/")


def first_leader() -> None:
    """The form that makes the first account of an empty store."""
    text = _(
        "Nobody runs studies here yet. Choose a name and a passphrase of at least 10 letters; a short sentence works."
    )
    code = {"name": "code", "label": _("Code that the app printed when it was started"), "kind": "text"}
    fields = [code | {"autocomplete": "one-time-code"}, _name("username"), _secret("passphrase", _("Passphrase"))]
    said = {"title": _("Start as panel leader"), "text": text, "go": _("Start")}
    _form("/first-leader", fields, said, then="/")


def sign_out(staff: Staff) -> None:
    """Who is signed in at this browser, and the way out."""
    who = _("{name}, {role}").format(name=staff.name, role=roles()[staff.role])
    said = {"out": _("Sign out"), "offline": _("No connection. Try again in a moment.")}
    phone.show(_SIGN_OUT, "sign-out", {"who": who, "words": said})


# ---- behind it -----------------------------------------------------------------------------------------------------
def change() -> None:
    """Another passphrase for whoever is signed in; the page is opened anew, for it holds a new cookie then."""
    text = _("At least 10 letters; a short sentence works. Every other browser where you are signed in is signed out.")
    fields = [
        _secret("old", _("Passphrase until now"), "current-password"),
        _secret("new", _("New passphrase")),
    ]
    said = {"text": text, "go": _("Change the passphrase"), "show": _("Show what I write")}
    _form("/passphrase", fields, said, then="/account?kept=passphrase")


def add(assessors: Sequence[Assessor]) -> None:
    """An account for somebody new, with a first passphrase; the tie to an assessor keeps a key holder from tasting."""
    tied = [("", _("does not taste")), *((one.id, one.pseudonym) for one in assessors)]
    fields = [
        _name("off"),
        _select("role", _("Role"), list(roles().items())),
        _select("tastes", _("Tastes as (so that nobody who holds a key tastes)"), tied),
        _secret("passphrase", _("First passphrase, at least 10 letters")),
    ]
    text = _("A preparer has an account of their own, because the key is theirs alone.")
    done = _("Kept. Tell them name and passphrase yourself; at their first sign-in they choose one of their own.")
    said = {"text": text, "go": _("Add this person"), "show": _("Show what I write"), "done": done}
    _form("/staff", fields, said)


def renew(member: Staff, ended: bool) -> None:
    """A first passphrase once more: for somebody who forgot theirs, or to bring an ended account back."""
    if ended:
        text = _("{name} can sign in again with a first passphrase, in the same role as before.")
    else:
        text = _("Write a first passphrase once more. Every browser where {name} is signed in is signed out.")
    done = _("Kept. Tell {name} the passphrase yourself; at the next sign-in they choose one of their own.")
    said = {
        "text": text.format(name=member.name),
        "go": _("Bring the account back") if ended else _("Give this passphrase"),
        "show": _("Show what I write"),
        "done": done.format(name=member.name),
    }
    fields = [_secret("passphrase", _("First passphrase, at least 10 letters"))]
    _form("/staff/passphrase", fields, said, fixed={"staff": member.id})


# ---- the form ------------------------------------------------------------------------------------------------------
def _name(autocomplete: str) -> Field:
    return {"name": "name", "label": _("Name"), "kind": "text", "autocomplete": autocomplete}


def _secret(name: str, label: str, autocomplete: str = "new-password") -> Field:
    return {"name": name, "label": label, "kind": "secret", "autocomplete": autocomplete}


def _select(name: str, label: str, options: Sequence[tuple[str, str]]) -> Field:
    return {"name": name, "label": label, "kind": "select", "options": [list(option) for option in options]}


def _form(
    path: str, fields: Sequence[Field], said: dict[str, str], *, then: str = "", fixed: Mapping[str, str] | None = None
) -> None:
    """A form that posts to `path`. Afterwards the browser opens `then`, or reads the sentence `done` in place."""
    data = _drawn_from(path, fields, said, then=then, fixed=fixed)
    phone.show(_CREDENTIALS, "-".join(["form", *path.split("/")[1:], *(fixed or {}).values()]), data)


def _drawn_from(
    path: str, fields: Sequence[Field], said: dict[str, str], *, then: str = "", fixed: Mapping[str, str] | None = None
) -> dict[str, Any]:
    common = {"gap": _("Fill in first: {field}."), "offline": _("No connection. Try again in a moment.")}
    return {"path": path, "fixed": dict(fixed or {}), "then": then, "fields": list(fields), "words": common | said}
