"""The report of a study that was sealed or signed under an earlier version of the stop rule."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from studyapp.printing.papers import paper
from tests.printing.paper_reading import flowing_pages
from tests.stores import earlier
from tests.stores.earlier import Earlier, signed_before


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Earlier]:
    """The store of version 1, brought up to date."""
    with earlier.opened("v0002_rule_1", tmp_path) as found:
        yield found


def pages(kept: Earlier, title: str) -> list[str]:
    """The text of each page of a report."""
    return flowing_pages(paper(kept.store, kept.leader, "report", kept.study(title))[1])


def test_a_signed_verdict_is_printed_as_it_was_signed(kept: Earlier) -> None:
    """Page 1 has the hour that two people signed; the record names the version of seal and verdict."""
    first, *rest = pages(kept, "Hours, signed before a better hour")
    assert "Stop at 4 hours." in first
    assert "Ida" in first
    assert "Version 1 of the stop rule." in " ".join(rest)
    assert "version 1 of the stop rule" in rest[-1]
    assert "corrected version" not in first


def test_page_1_says_where_the_corrected_rule_differs(kept: Earlier) -> None:
    """One sentence under the answer; everything else of page 1 keeps its place on it."""
    signed_before(kept, "Hours, opened", "Hours, signed before a better hour")
    first, *_rest = pages(kept, "Hours, opened")
    assert "Stop at 4 hours." in first
    assert "on the same scores the corrected rule of today says: Stop at 8 hours." in first
    assert "A taste result only." in first
    agreeing, *_rest = pages(kept, "Hours, signed")
    assert "corrected rule" not in agreeing


def test_the_corrected_rule_is_a_departure_of_an_unsigned_study(kept: Earlier) -> None:
    """On page 1 and with the record, before what people noted; the record names the version that decided."""
    first, *rest = pages(kept, "Hours, opened")
    assert "Nothing was noted." not in first
    sentence = "sealed under version 1 of the stop rule and decided by the corrected version 3"
    assert first.index(sentence) < first.index("The room was warm.")
    assert sentence in rest[-1]
    assert "version 3 of the stop rule" in rest[-1]
    assert "Version 1 of the stop rule." in " ".join(rest)
