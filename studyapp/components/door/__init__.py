"""The page for a browser that nobody has signed in at: plain HTML, so that a stranger is given no socket."""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape
from typing import Any

from studyapp.components import look, phone
from studyapp.words import _


def page(form: Mapping[str, Any]) -> str:
    """The page around a form of `credentials`."""
    script = json.dumps({"language": "en", **form}).replace("<", "\\u003c")  # no text may end the script element
    parts = {
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
