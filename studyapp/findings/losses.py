"""Why a sample could not be served, in words."""

from __future__ import annotations

from studyapp.words import _


def loss_reasons() -> dict[str, str]:
    """The physical reasons for a loss, by the code that is kept."""
    return {
        "spoilt": _("spoilt"),
        "too little": _("too little mass"),
        "not tempered": _("could not be tempered"),
        "dropped": _("dropped"),
        "label unreadable": _("label cannot be read"),
        "machine stopped": _("machine stood still"),
    }
