"""The page Account and the list of those who run studies, without a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from studyapp import session
from studyapp.components import staff_list
from studyapp.records import Account, Staff
from studyapp.services import accounts

Screen = Callable[..., AppTest]
Said = Callable[[AppTest], str]
BEN = Staff("b", "Ben", "preparer")
NOW = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@pytest.mark.parametrize(
    ("account", "start"),
    [
        (Account(BEN, 0, None, None), "preparer, signed in nowhere"),
        (Account(BEN, 1, NOW, None), "preparer, signed in since "),
        (Account(BEN, 3, NOW, None), "preparer, signed in at 3 browsers, last "),
        (Account(BEN, 0, None, "2026-11-24T10:51:00Z"), "preparer, ended 24 Nov"),
    ],
)
def test_an_account_is_told_in_words(account: Account, start: str) -> None:
    assert staff_list.about(account).startswith(start)


@pytest.mark.parametrize("who", ["Ada", "Ben"])
def test_the_account_page_says_who_is_signed_in(screen: Screen, said: Said, who: str) -> None:
    app = screen("account", who=who)
    assert not app.exception
    assert f">{who}</h1>" in said(app)
    assert "signed in since" in said(app)
    assert "Kept." not in said(app)
    assert "Kept. The new passphrase holds" in said(screen("account", who=who, kept="passphrase"))


def test_a_leader_who_is_alone_is_told_before_it_is_too_late(screen: Screen, said: Said, workshop: Any) -> None:
    """A preparer and a leader who ended cannot help; a second leader can."""
    alone = "You are the only panel leader"
    assert alone in said(screen("account"))
    assert alone not in said(screen("account", who="Ben"))
    cleo = accounts.add_staff(workshop.store, workshop.leader, "Cleo", "leader", workshop.passphrase)
    assert alone not in said(screen("account"))
    accounts.end_account(workshop.store, workshop.leader, cleo.id)
    assert alone in said(screen("account"))


def test_the_invented_workshop_has_no_passphrase_to_change(screen: Screen, said: Said, workshop: Any) -> None:
    app = screen("account")
    assert "Nobody has a passphrase in the invented workshop" not in said(app)
    session.use(workshop.store, demo=True)
    assert "Nobody has a passphrase in the invented workshop" in said(app.run())


def test_the_list_shows_who_is_there_and_who_ended(screen: Screen, said: Said, workshop: Any) -> None:
    """One's own line has no button: nobody ends themselves, and one's own passphrase is changed under Account."""
    assert "Ended accounts" not in said(screen("panel"))
    accounts.end_account(workshop.store, workshop.leader, workshop.preparer.id)
    app = screen("panel")
    text = said(app)
    assert text.index("panel leader, signed in") < text.index("Ended accounts") < text.index("preparer, ended")
    buttons = {button.key for button in app.button}
    assert f"open-{workshop.preparer.id}" in buttons
    assert f"open-{workshop.leader.id}" not in buttons
