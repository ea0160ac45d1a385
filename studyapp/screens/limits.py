"""What this cannot prevent: said where promises are made, in plain words."""

from __future__ import annotations

from studyapp.components import look
from studyapp.words import _


def render() -> None:
    """What holds, what does not, and what helps."""
    look.put(
        look.crumb(_("Start"), _("What this cannot prevent"), "/"),
        look.title(_("What this cannot prevent")),
        look.lede(_("The app keeps people blind and the record whole as far as a program can. It cannot do more.")),
        look.title(_("Whoever holds the file"), 2),
        look.bullets(_file()),
        look.title(_("Whoever owns the machine"), 2),
        look.bullets(_machine()),
        look.title(_("Whoever talks, looks or lends"), 2),
        look.bullets(_people()),
        look.title(_("What helps"), 2),
        look.bullets(_helps()),
    )


def _file() -> tuple[str, ...]:
    return (
        _("They can read every study in it, the key and the scores too, before any key is opened."),
        _(
            "They can change it. The check names a row that was edited by hand; it cannot tell a whole record that was "
            "written anew, unless a printed seal of the record says otherwise."
        ),
        _("A backup and a package are such files. They hold what the store holds, a backup also names of people."),
    )


def _machine() -> tuple[str, ...]:
    return (
        _("They can change the program itself, or read what is typed and shown on it."),
        _("Without a certificate, so can others on the same network."),
        _("Whoever leads can make a second account and use it. Two accounts are two people only if you see to it."),
    )


def _people() -> tuple[str, ...]:
    return (
        _("A preparer can tell somebody what is in a cup; a leader who made the links can open one on another device."),
        _("The report prints which link was opened on which device and when. A device without cookies counts as new."),
        _("An account is tied to an assessor only if somebody says so, under Panel and Account."),
        _("People who taste can see, smell and hear each other."),
    )


def _helps() -> tuple[str, ...]:
    return (
        _("Keep the printed seals of the record apart from the machine, and compare them: studyapp check --head."),
        _("Encrypt the disk, give every person an account of their own, and let two people lead."),
        _("Let somebody from outside keep a package of the study: it holds the events and can be checked anywhere."),
    )
