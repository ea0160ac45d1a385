"""An iCalendar file by the letter of RFC 5545; the section stands beside each check."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.report.calendar_file import study_calendar
from studyapp.kinds.hours.setting_out.pulls import PullLife, Pulls
from studyapp.printing.calendar_file import folded, text
from studyapp.records import PullNote, Study

MADE = datetime(2026, 11, 20, 9, 30, tzinfo=timezone(timedelta(hours=1)))
PLAN = HoursPlan(
    "x",
    pulls=tuple(Pull(float(h)) for h in (0, 4, 8, 12, 16, 24)),
    sittings=2,
    assessors=tuple("abcdefgh"),
    starts_at="2026-11-23T08:00",
)
# RFC 5545 section 3.1: contentline = name *(";" param) ":" value CRLF; value of anything but control letters.
CONTENT_LINE = re.compile(r"[A-Z-]+(;[A-Z-]+=[^:;]+)*:[^\x00-\x08\x0a-\x1f\x7f]*")


def _unfolded(file: bytes) -> list[str]:
    """Section 3.1: remove every CRLF that a blank or a tab follows, then split."""
    whole = re.sub(rb"\r\n[ \t]", b"", file).decode()
    assert whole.endswith("\r\n")
    return whole[:-2].split("\r\n")


def _read(value: str) -> str:
    """Section 3.3.11, backwards."""
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], value)


def _entries(file: bytes) -> list[dict[str, str]]:
    lines, found = _unfolded(file), []
    for line in lines:
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            found.append({})
        elif found and line not in ("END:VEVENT", "END:VCALENDAR"):
            assert name not in found[-1]  # section 3.6.1: none of ours may stand twice
            found[-1][name] = value
    return found


def _file(
    title: str = "Dark 72 %; two origins, long", plan: HoursPlan = PLAN, look: int = 0, id_: str = "study-1"
) -> bytes:
    study = Study(id_, "hours", replace(plan, title=title), "sealed" if look else "draft", "2026-11-20T08:00:00Z", look)
    return study_calendar(study, MADE)


def test_lines_end_in_crlf_and_hold_75_octets_at_most() -> None:
    """Section 3.1, also for names of many letters of several octets each."""
    file = _file("Sélection Bucovină — très très longue conchée à froid, lot №14; second essai " * 2)
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert b"\r" not in file.replace(b"\r\n", b"")
    for line in file.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()  # no letter is cut
    assert all(CONTENT_LINE.fullmatch(line) for line in _unfolded(file))


def test_the_calendar_and_its_entries_hold_what_they_must() -> None:
    """Section 3.4: VERSION and PRODID once, before the entries; 3.6.1: UID, DTSTAMP, DTSTART once, DTEND later."""
    lines = _unfolded(_file())
    assert lines[:2] == ["BEGIN:VCALENDAR", "VERSION:2.0"]
    assert lines[-1] == "END:VCALENDAR"
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    entries = _entries(_file())
    assert len(entries) == 6 + 3 * 3  # two sittings before the key is first opened, one before the second
    for entry in entries:
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION"} <= set(entry)
        assert entry["DTSTAMP"] == "20261120T083000Z"  # section 3.8.7.2: in UTC
        assert re.fullmatch(r"\d{8}T\d{6}", entry["DTSTART"])  # section 3.3.5, form 1
        assert entry["DTEND"] > entry["DTSTART"]
    assert len({entry["UID"] for entry in entries}) == len(entries)  # section 3.8.4.7


def test_times_are_those_of_the_clock_on_the_wall() -> None:
    """The pull at 12 h of a run from 8 o'clock stands at 20 o'clock, whatever the zone of the reader."""
    twelve = next(entry for entry in _entries(_file()) if "pull at 12 h" in entry["SUMMARY"])
    assert (twelve["DTSTART"], twelve["DTEND"]) == ("20261123T200000", "20261123T201500")


def test_pulls_stand_where_they_were_taken() -> None:
    """Section 3.8.1.11: what is lost is CANCELLED; its UID (3.8.4.7) stays, so a calendar moves the entry."""
    zero, at = datetime(2026, 11, 23, 9), "2026-11-26T07:00"
    lives = (
        PullLife(12.0, 12.0, zero + timedelta(hours=12), None),
        PullLife(16.0, 16.0, None, None, (PullNote("lost", 16.0, at, at, "Ben", reason="dropped"),)),
        PullLife(24.0, 24.0, zero + timedelta(hours=24), PullNote("taken", 24.0, at, at, "Ben")),
    )
    study = Study("study-1", "hours", PLAN, "sealed", "2026-11-20T08:00:00Z", 1)
    before, after = (
        {e["UID"]: e for e in _entries(file)} for file in (_file(), _noted(study, Pulls(zero, True, lives)))
    )
    assert before.keys() == after.keys()
    told = {name: next(e for e in after.values() if f"pull at {name} h" in e["SUMMARY"]) for name in (12, 16, 24)}
    assert [told[name]["DTSTART"] for name in told] == ["20261123T210000", "20261124T000000", "20261126T070000"]
    assert [told[name]["STATUS"] for name in told] == ["CONFIRMED", "CANCELLED", "CONFIRMED"]
    assert _read(told[24]["SUMMARY"]).endswith("pull at 24 h, taken, 46 h late")
    assert _read(told[24]["DESCRIPTION"]).startswith("The 24 h pull is 46 h late: it is a 70 h pull.")
    assert [e["DTSTART"] for e in after.values() if "tasting 1" in e["SUMMARY"]] == [
        e["DTSTART"] for e in before.values() if "tasting 1" in e["SUMMARY"]
    ]


def _noted(study: Study[HoursPlan], kept: Pulls) -> bytes:
    return study_calendar(study, MADE, kept)


def test_the_same_study_keeps_its_identifiers() -> None:
    """Another start and another day: entries move; another study: other entries."""
    later = _file("y", replace(PLAN, starts_at="2026-11-24T08:00"))
    names = [{entry["UID"] for entry in _entries(file)} for file in (_file(), later, _file("y", id_="study-2"))]
    assert names[0] == names[1]
    assert not names[0] & names[2]


def test_sittings_of_looks_to_come_are_tentative() -> None:
    """Section 3.8.1.11: TENTATIVE until the verdict before left it open, then CONFIRMED as all others."""
    three = replace(PLAN, looks=3)
    for look, open_ in ((0, {3, 4}), (1, {3, 4}), (2, {4})):
        for entry in _entries(_file(plan=three, look=look)):
            numbers = {int(found) for found in re.findall(r"tasting (\d)(?!.*tasting)", entry["SUMMARY"])}
            tentative = bool(numbers & open_)
            assert entry["STATUS"] == ("TENTATIVE" if tentative else "CONFIRMED"), entry["SUMMARY"]
            assert ("only if the verdict before cannot tell" in entry["SUMMARY"]) == tentative
            assert ("Keep what is left of every pull in the same way" in entry["DESCRIPTION"]) == tentative


def test_a_name_cannot_add_lines_of_its_own() -> None:
    """A line break in a title is text, not a new property."""
    entries = _entries(_file("x\r\nATTENDEE:mailto:a\r\nSUMMARY:y"))
    assert all("ATTENDEE" not in entry for entry in entries)
    assert all(_read(entry["SUMMARY"]).startswith("x\nATTENDEE:mailto:a\nSUMMARY:y: ") for entry in entries)


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from("\n;,\\\t"), max_size=300))
def test_any_text_comes_back_as_it_was(value: str) -> None:
    """Sections 3.1 and 3.3.11: unfold, unescape, and it is what was written."""
    line = folded("SUMMARY:" + text(value))
    assert all(len(piece) <= 75 for piece in line.split(b"\r\n"))
    assert _unfolded(line) == ["SUMMARY:" + text(value)]
    assert _read(text(value)) == value
    assert "\n" not in text(value)
