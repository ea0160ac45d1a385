"""The page for a browser that nobody has signed in at: plain HTML, so that a stranger is given no socket."""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape

from studyapp.components import credentials, look, phone
from studyapp.words import _, language


def page() -> str:
    """The page around the form to sign in."""
    script = json.dumps({"language": language(), **credentials.to_sign_in()}).replace(
        "<", "\\u003c"
    )  # no text may end the script element
    parts = {
        "language": language(),
        "title": escape(_("Sign in")),
        "colours": look.colours(),
        "sheet": phone.text("phone/phone.css", "credentials/credentials.css"),
        "form": script,
    }
    found = phone.text("door/door.html")
    for name, part in parts.items():
        found = found.replace(f"{{{name}}}", part)
    return found


def scripts() -> Mapping[str, str]:
    """The scripts of the page by the names it loads them under."""
    return {
        "open.js": phone.text("door/open.js"),
        "form.js": phone.text("phone/phone.js", "credentials/credentials.js"),
    }
