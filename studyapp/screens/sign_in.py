"""Sign in: for people who run studies. On an empty store the first of them is made here."""

from __future__ import annotations

from studyapp import session
from studyapp.components import credentials
from studyapp.services import accounts


def render() -> None:
    """One form."""
    if accounts.needs_first_leader(session.store()):
        credentials.first_leader()
    else:
        credentials.sign_in()
