"""The sentence of every warning that the stop rule can raise."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from studyapp.findings.numbers import beside, hours, listed, opening, units
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Warning as StopWarning

Values = Mapping[str, Any]


def warning_sentence(warning: StopWarning) -> str:
    """The sentence of one warning.

    Raises:
        ValueError: there is no sentence for this code; a warning must never vanish unread.
    """
    writer = _WRITERS.get(warning.code)
    if writer is None:
        raise ValueError(f"no sentence for the warning {warning.code!r}")
    return writer(warning.values)


def warning_codes() -> frozenset[str]:
    """All codes that have a sentence."""
    return frozenset(_WRITERS)


# ---- too little to go on -----------------------------------------------------------------------------------------
def _too_few_assessors(values: Values) -> str:
    return ngettext(
        "{name}: only {n} assessor has scores, and at least 5 are needed.",
        "{name}: only {n} assessors have scores, and at least 5 are needed.",
        int(values["assessors"]),
    ).format(name=_name(values), n=values["assessors"])


def _same_score(values: Values) -> str:
    return _("{name}: everyone gave the same score everywhere, so it tells nothing.").format(name=_name(values))


def _own_error_unknown(values: Values) -> str:
    return _(
        "{name}: too many scores are missing to see how much the assessors differ among themselves, so it cannot pass."
    ).format(name=_name(values))


def _copied(values: Values) -> str:
    return _(
        "{name}: for everybody the second score equals the first, or all courses are the same, so it is not judged. "
        "Ask whether scores were copied, and taste again."
    ).format(name=_name(values))


def _one_persons_copies(values: Values) -> str:
    people = [str(person) for person in values["assessors"]]
    return ngettext(
        "{name}: every second score of {people} equals the first. It may be chance; ask how it was scored.",
        "{name}: every second score of {people} equals their first. It may be chance; ask how they were scored.",
        len(people),
    ).format(name=_name(values), people=listed(people))


def _few_assessors(values: Values) -> str:
    if "widest" in values:
        return ngettext(
            "Only {n} assessor tasted: limits lie up to {widest} units either side, so good pulls can stay unshown.",
            "Only {n} assessors tasted: limits lie up to {widest} units either side, so good pulls can stay unshown.",
            int(values["assessors"]),
        ).format(n=values["assessors"], widest=units(float(values["widest"])))
    return ngettext(
        "Only {n} assessor tasted: the intervals are wide, so good pulls can stay unshown.",
        "Only {n} assessors tasted: the intervals are wide, so good pulls can stay unshown.",
        int(values["assessors"]),
    ).format(n=values["assessors"])


def _one_batch(values: Values) -> str:
    return _("One batch was tasted: the next one may need other hours.")


def _window_not_confirmed(values: Values) -> str:
    return _(
        "{name}: window not confirmed. No pull just shorter than {h} h was tasted, so whether it is at its best there, "
        "or past it, was not asked."
    ).format(name=_name(values), h=hours(float(values["hours"])))


def _batches_differ(values: Values) -> str:
    texts = {"name": _name(values), "batch": values["batch"], "h": hours(float(values["hours"]))}
    if int(values["batches"]) == 2:
        return _("{name}: the two batches differ at {h} h as served: mass or tray.").format(**texts)
    return _("{name}: batch {batch} stands apart at {h} h as served: look at how it was made, and at its tray.").format(
        **texts
    )


def _rests_on_few(values: Values) -> str:
    if not values["both"]:
        return _("{name}: nobody scored both {h} h and the longest pull.").format(
            name=_name(values), h=hours(float(values["hours"]))
        )
    return ngettext(
        "{name}: only {n} person scored both {h} h and the longest pull, and what is said of {h} h rests on that one.",
        "{name}: only {n} people scored both {h} h and the longest pull, and what is said of {h} h rests on them.",
        int(values["both"]),
    ).format(name=_name(values), n=values["both"], h=hours(float(values["hours"])))


# ---- notes that nobody can tell here, or that grow -----------------------------------------------------------------
def _not_told_here(values: Values) -> str:
    if values["wanted"] == "same":
        sentence = _(
            "{name}: at {h} h these people did not find it different. "
            "That it stays the same rests on their being able to tell it."
        )
    elif values["wanted"] == "higher":
        sentence = _(
            "{name}: at {h} h these people did not find it lower. "
            "That it is no worse rests on their being able to tell it."
        )
    else:
        sentence = _(
            "{name}: at {h} h these people did not find it higher. "
            "That it is no worse rests on their being able to tell it."
        )
    return sentence.format(name=_name(values), h=hours(float(values["hours"])))


def _nobody_marked(values: Values) -> str:
    if values["wanted"] == "higher":
        sentence = _("Everybody gave {name} the highest mark everywhere, so no pull is worse on it than another.")
    else:
        sentence = _("Nobody marked any {name} anywhere, so no pull is worse on it than another.")
    return sentence.format(name=values["attribute"])


def _grew(values: Values) -> str:
    return _(
        "{name} at {h} h: shown higher than at {early} h by {d} units, between {low} and {high}. "
        "The sealed claim says nothing about it; weigh it yourself."
    ).format(
        name=_name(values),
        h=hours(float(values["hours"])),
        early=hours(float(values["earlier"])),
        d=units(float(values["difference"])),
        low=beside(float(values["low"]), 0.0),
        high=units(float(values["high"])),
    )


# ---- orders and sittings -----------------------------------------------------------------------------------------
def _order_not_recorded(values: Values) -> str:
    return _("The serving order was not recorded, so nobody can tell whether a pull gained from its place.")


def _orders_unbalanced(values: Values) -> str:
    if values["why"] == "cannot adjust":
        return _("The rule takes the place on the tray out, but these orders do not let place and pull be told apart.")
    if values["why"] == "one order for all":
        if values["adjusted"]:
            return _("Everyone tasted in one and the same order; the effect of the place was taken out by the model.")
        return _("Everyone tasted in one and the same order, so place and pull cannot be told apart.")
    if values["why"] == "first too often":
        if values["adjusted"]:
            return _("Some pulls were tasted first more often than the reference, or less; that effect was taken out.")
        return _(
            "Some pulls were tasted first more often than the reference, or less, and what comes first scores "
            "differently by itself."
        )
    if values["adjusted"]:
        return _("Some pulls stood far from the reference in the order; the effect of the place was taken out.")
    return _("Some pulls stood far from the reference in the order, so place and pull cannot be told apart.")


def _as_prepared(values: Values) -> str:
    return _(
        "There was one sitting: the answer holds as the pulls were prepared for it. "
        "A tray tempered differently would have moved a pull for everybody."
    )


def _sittings_disagree(values: Values) -> str:
    return _(
        "{name}: the sittings disagree about the pulls, so the error may be larger than promised. "
        "Look for a tray that was prepared differently."
    ).format(name=_name(values))


def _read_on(values: Values) -> str:
    return _(
        "{name} was read of {n} portions at {h} h, and {sealed} were sealed for the openings so far. Who reads on "
        "until a limit is kept, keeps it too often."
    ).format(
        name=opening(str(values["limit"])), n=values["read"], h=hours(float(values["hours"])), sealed=values["sealed"]
    )


# ---- people ------------------------------------------------------------------------------------------------------
def _still_notices(values: Values) -> str:
    return ngettext(
        "{name}: {k} of {n} clearly finds {h} h worse than {ref} h. Ask that person to pick the odd one out, blind.",
        "{name}: {k} of {n} clearly find {h} h worse than {ref} h. Ask these people to pick the odd one out, blind.",
        int(values["count"]),
    ).format(
        name=_name(values),
        k=values["count"],
        n=values["assessors"],
        h=hours(float(values["hours"])),
        ref=hours(float(values["reference"])),
    )


def _scales_stretched(values: Values) -> str:
    return _(
        "{name}: some assessors stretch the scale more than three times as far as others, "
        "so the error may reach 8 of 100."
    ).format(name=_name(values))


def _name(values: Values) -> str:
    return opening(str(values["attribute"]))


def _other_scale(values: Values) -> str:
    return _(
        "{name}: the scores look like 0 to {top}, and a margin of {margin} is very small there. If it was meant for 0 "
        "to 10, write {meant} in a new rule; this verdict stands on {margin}."
    ).format(
        name=_name(values),
        top=hours(float(values["top"])),
        margin=hours(float(values["margin"])),
        meant=hours(float(values["margin"]) * float(values["top"]) / 10),
    )


_WRITERS: dict[str, Callable[[Values], str]] = {
    "too few assessors": _too_few_assessors,
    "same score everywhere": _same_score,
    "own error unknown": _own_error_unknown,
    "copied": _copied,
    "one person's copies": _one_persons_copies,
    "few assessors": _few_assessors,
    "rests on few": _rests_on_few,
    "not_told_here": _not_told_here,
    "nobody marked": _nobody_marked,
    "grew": _grew,
    "one batch": _one_batch,
    "window not confirmed": _window_not_confirmed,
    "batches differ": _batches_differ,
    "read on": _read_on,
    "order not recorded": _order_not_recorded,
    "orders unbalanced": _orders_unbalanced,
    "as prepared for this sitting": _as_prepared,
    "sittings disagree": _sittings_disagree,
    "someone still notices": _still_notices,
    "scales stretched": _scales_stretched,
    "margin for another scale": _other_scale,
}
