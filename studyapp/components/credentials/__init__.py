"""Name and passphrase for panel leaders and preparers, and the way out. Posted to a route, never through a widget."""

from __future__ import annotations

from studyapp.components import phone
from studyapp.records import Staff
from studyapp.words import _

_CREDENTIALS = phone.page("credentials", "credentials/credentials.js")
_SIGN_OUT = phone.page("sign_out", "credentials/sign_out.css", "credentials/sign_out.js")


def sign_in() -> None:
    """The form for somebody who has an account."""
    said = {"title": _("Sign in"), "text": _("For panel leaders and preparers. To taste, open your own link instead.")}
    _form("/sign-in", False, said | {"go": _("Sign in")})


def first_leader() -> None:
    """The form that makes the first account of an empty store."""
    text = _(
        "Nobody runs studies here yet. Choose a name and a passphrase of at least 10 letters; a short sentence works."
    )
    _form("/first-leader", True, {"title": _("Start as panel leader"), "text": text, "go": _("Start")})


def _form(path: str, fresh: bool, said: dict[str, str]) -> None:
    common = {
        "name": _("Name"),
        "passphrase": _("Passphrase"),
        "gap": _("Fill in both fields first."),
        "offline": _("No connection. Try again in a moment."),
    }
    phone.show(_CREDENTIALS, f"form-{path.strip('/')}", {"path": path, "fresh": fresh, "words": common | said})


def sign_out(staff: Staff) -> None:
    """Who is signed in at this browser, and the way out."""
    role = {"leader": _("panel leader"), "preparer": _("preparer")}[staff.role]
    who = _("{name}, {role}").format(name=staff.name, role=role)
    said = {"out": _("Sign out"), "offline": _("No connection. Try again in a moment.")}
    phone.show(_SIGN_OUT, "sign-out", {"who": who, "words": said})
