"""Names and titles: one spelling for what looks the same, nothing unseen, no letters of several alphabets in a word."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed
from studyapp.services import accounts, names, panel, planning, preparing
from studyapp.store import Store
from tests.conftest import CHECKS
from tests.furnished import empty

PHRASE = "a bench by the window"
CYRILLIC_A, NARROW, TURN = "\u0430", "\u200b", "\u202e"


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("Zoe\u0308", "Zo\u00eb"),  # UAX #15, figure 3: a letter and its mark become one sign
        ("\u212bsa", "\u00c5sa"),  # UAX #15, figure 3: the Angstrom sign is the letter
        ("  Ada \t Lovage ", None),
        (" Ada   Lovage\u00a0", "Ada Lovage"),
        ("O'Hara-Smith 2", "O'Hara-Smith 2"),
        ("\u0410\u043d\u043d\u0430 Lark", "\u0410\u043d\u043d\u0430 Lark"),  # one alphabet a word
        ("D90 in \u03bcm, \u0394T 5 \u00b0C", "D90 in \u03bcm, \u0394T 5 \u00b0C"),  # signs of measures
        ("\u5c71\u7530\u3055\u304f\u3089", "\u5c71\u7530\u3055\u304f\u3089"),  # Japanese: Han with Hiragana
        (
            "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645",
            "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645",
        ),  # Persian spelling
        (f"Ad{CYRILLIC_A}", None),
        ("p\u0430ypal", None),  # UTS #39, section 4: the well-known example of a mixed word
        (f"A{NARROW}da", None),
        (f"Ada{TURN}", None),
        ("Ada\x07", None),
        ("A\u00adda", None),
        ("Ada\ue000", None),
    ],
)
def test_a_name_is_kept_in_one_spelling_or_refused(written: str, kept: str | None) -> None:
    """Normal form C; unseen signs and mixed words get a sentence that says what to do."""
    if kept is None:
        with pytest.raises(BadInput, match=r"^Fix the name: "):
            names.clean(written)
    else:
        assert names.clean(written) == kept


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Ada", "ADA", True),
        ("Ada", "\uff21da", True),  # full width
        ("Acap", "\u0410\u0441\u0430\u0440", True),  # four Cyrillic letters
        ("Ada", "Adam", False),
        ("\u0410\u043d\u043d\u0430", "Anna", False),
    ],
)
def test_names_that_look_alike(one: str, other: str, same: bool) -> None:
    """Case, width and letters that look like Latin ones do not tell people apart (UTS #39, section 4)."""
    assert (names.alike(one) == names.alike(other)) is same


@pytest.fixture
def store(tmp_path: Path) -> Any:
    """An empty store."""
    opened = empty(tmp_path / "studies.sqlite")
    yield opened
    opened.close()


def test_no_account_looks_like_another(store: Store) -> None:
    """Records are signed with names: a second Acap in Cyrillic letters would sign as the first."""
    leader = accounts.first_leader(store, "Acap", PHRASE)
    with pytest.raises(BadInput, match="already"):
        accounts.add_staff(store, leader, "\u0410\u0441\u0430\u0440", "leader", PHRASE)
    with pytest.raises(BadInput, match="several alphabets"):
        accounts.add_staff(store, leader, f"Ad{CYRILLIC_A}", "leader", PHRASE)
    zoe = accounts.add_staff(store, leader, "Zoe\u0308", "preparer", PHRASE)
    assert zoe.name == "Zo\u00eb"
    for spelling in ("Zo\u00eb", "Zoe\u0308", " Zo\u00eb "):
        assert accounts.sign_in(store, spelling, PHRASE, "10.0.0.7")


def test_no_pseudonym_and_no_study_hides_something(store: Store) -> None:
    """People on the panel and studies are told apart by what is read."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    panel.add_assessor(store, leader, "Heron")
    for name in ("H\u0435ron", f"Her{NARROW}on", f"{TURN}noreH"):
        with pytest.raises(BadInput):
            panel.add_assessor(store, leader, name)
        with pytest.raises(BadInput):
            panel.add_assessor(store, leader, "Lark", name)
        with pytest.raises(BadInput):
            planning.new_study(store, leader, "hours", name)
    with pytest.raises(BadInput, match="taken"):
        panel.add_assessor(store, leader, "\uff28eron")


def test_nobody_is_a_second_person_by_other_letters(workshop: Any) -> None:
    """Whoever reads the labels is not the preparer in other letters."""
    released = (workshop.store, workshop.preparer, workshop.sitting.id, 1, CHECKS)
    for name, said in (("\uff22en", "is you"), (f"Cl{NARROW}eo", "cannot be seen"), ("Cl\u0435o", "several alphabets")):
        with pytest.raises((BadInput, NotAllowed), match=said):
            preparing.release_tray(*released, name)
