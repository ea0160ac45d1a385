"""Where the spreads behind a plan's chances come from, and how large they are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from studyapp.findings.numbers import listed, opening, units
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning import PooledSpreads, Spread
    from studyapp.services.spreads import Spreads


def spreads_told(spreads: Spreads, attributes: Sequence[str]) -> tuple[str, ...]:
    """The source first, then a sentence for each attribute or for all that share one, then what to beware of."""
    if spreads.panel is None and not spreads.attributes:
        return (_assumed(),)
    strangers = [name for name in attributes if spreads.source(name) != "own"]
    told = [known for name in attributes if (known := spreads.of(name)) is not None]
    return (
        _source(spreads),
        *(_own(name, spreads) for name in attributes if spreads.source(name) == "own"),
        *([_new(strangers, spreads.panel)] if strangers else []),
        *_notes(told),
    )


def _assumed() -> str:
    from analysis.planning import AttributeTruth

    usual = AttributeTruth(())
    return _(
        "Assumed: the spread of an ordinary small panel, assessors ±{assessor}, their reading of a piece ±{reading}, "
        "one mark ±{mark} units. Your own panel may differ; once a study is opened, its spreads are taken."
    ).format(assessor=units(usual.assessor), reading=units(usual.interaction), mark=units(usual.error))


def _source(spreads: Spreads) -> str:
    people = ngettext("{n} assessor", "{n} assessors", spreads.assessors).format(n=spreads.assessors)
    if spreads.invented:
        sentence = ngettext(
            "Spread of scores from {n} invented study, {people}; a real one takes its place once its key is open.",
            "Spread of scores from {n} invented studies, {people}; a real one takes their place once its key is open.",
            spreads.studies,
        )
    else:
        sentence = ngettext(
            "Spread of scores from your own {n} opened study, {people}.",
            "Spread of scores from your own {n} opened studies, {people}.",
            spreads.studies,
        )
    range_ = _("Here ± is one standard deviation, in brackets its 95 % limits.")
    return f"{sentence.format(n=spreads.studies, people=people)} {range_}"


def _own(name: str, spreads: Spreads) -> str:
    known = spreads.of(name)
    assert known is not None  # asked for own ones only
    return _("{name}: {spreads}, from {marks}.").format(
        name=opening(name),
        spreads=_parts(known),
        marks=ngettext("{n} mark", "{n} marks", known.scores).format(n=known.scores),
    )


def _new(names: Sequence[str], panel: PooledSpreads | None) -> str:
    if panel is None:
        return _("{names}: scored too little so far, so an ordinary spread is assumed.").format(names=_named(names))
    return _("{names}: scored too little so far, so all attributes together are taken, {spreads}.").format(
        names=_named(names), spreads=_parts(panel)
    )


def _named(names: Sequence[str]) -> str:
    return opening(listed(names))


def _parts(known: PooledSpreads) -> str:
    """Assessors, their reading, one mark; and the day, where a study had several sittings."""
    parts = [
        _("assessors {spread}").format(spread=_spread(known.assessor)),
        _("their reading of a piece {spread}").format(spread=_spread(known.interaction)),
        _("one mark {spread} units").format(spread=_spread(known.error)),
    ]
    if known.sitting is not None:
        parts.insert(2, _("the same assessor on another day {spread}").format(spread=_spread(known.sitting)))
    return ", ".join(parts)


def _spread(spread: Spread | None) -> str:
    if spread is None:
        return _("as usual")
    return _("±{sd} ({low} to {high})").format(sd=units(spread.sd), low=units(spread.low), high=units(spread.high))


def _notes(told: Sequence[PooledSpreads]) -> Iterator[str]:
    if any(known.split for known in told):
        yield _(
            "Careful: hardly any piece was tasted twice by the same assessor, so their reading of a piece and one mark "
            "are only known together and are parted as in an ordinary panel."
        )
    if any(known.floored for known in told):
        yield _(
            "Careful: where marks lie at an end of the line they hardly differ; one mark is taken to be right within "
            "three steps of the line at best."
        )
