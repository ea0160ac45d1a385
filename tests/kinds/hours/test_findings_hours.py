"""The sentences of a decision: every wording says what it must, and none says what was not shown."""

from __future__ import annotations

import re
from dataclasses import fields, replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.stopping import AttributeResult
from studyapp.findings import beside, decimal
from studyapp.findings.numbers import hours, hours_list, of_studies, of_ten, percent, units
from studyapp.kinds.hours.findings import (
    Costs,
    HoursFinding,
    attribute_alt,
    enough,
    failing,
    hours_finding,
    pull_says,
    shown,
    standing,
)
from studyapp.kinds.hours.findings.reasons import lede
from studyapp.kinds.hours.findings.unsure import reasons
from tests.kinds.hours.decisions import OFFERS, attribute, decision, every_kind, lost

KINDS = every_kind()
COSTS = Costs(grams=4.5, minutes=6.0)

# Words that would claim more than a test can show, praise, blame, or jargon outside the table of numbers.
FORBIDDEN = re.compile(
    r"no difference|significan|proven|optimal|\bbest\b|\bsafe\b|subject|consumer|session|submit|invalid|oops|\buser\b"
    r"|please|unlock|\bp\s*[<=]|p-value|!|(?-i:\bNone\b)|\bnan\b|[{}]|-\d",
    re.IGNORECASE,
)


def texts_of(finding: HoursFinding) -> list[str]:
    """All texts of a finding."""
    return [
        finding.headline,
        finding.lede,
        finding.charts_intro,
        finding.caution,
        *finding.changes,
        *finding.warnings,
        *[part for fact in finding.facts for part in (fact.label, fact.value, fact.note)],
        *[getattr(row, field.name) for row in finding.offers for field in fields(row)],
    ]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("offers", [(), OFFERS], ids=["no offer", "offers"])
def test_no_sentence_claims_more_than_was_shown(kind: str, offers: tuple) -> None:
    """No wording uses a forbidden word, an unfilled placeholder or an ASCII minus."""
    decided = KINDS[kind]
    said = texts_of(hours_finding(decided, offers, "Dark 72 %", COSTS))
    said += [attribute_alt(result) for result in decided.attributes.values()]
    said += [pull_says(result, pull) for result in decided.attributes.values() for pull in result.pulls]
    assert [text for text in said if FORBIDDEN.search(text)] == []
    assert all(text == text.strip() and "  " not in text for text in said)


@pytest.mark.parametrize("kind", KINDS)
def test_a_verdict_has_a_headline_four_facts_and_the_caution(kind: str) -> None:
    """Each verdict page is complete, `cannot tell` as well."""
    finding = hours_finding(KINDS[kind])
    assert finding.headline.endswith(".")
    assert finding.lede.endswith(".")
    assert [fact.label for fact in finding.facts] == ["Decides the hour", "Saved", "Control found", "Holds for"]
    assert all(fact.value for fact in finding.facts)
    assert "allergens" in finding.caution


HEADLINES = {
    "stop": "Stop at 12 hours.",
    "stop, window": "Conche between 12 and 16 hours.",
    "stop, window of a note that grows": "Conche between 12 and 16 hours.",
    "stop, window of one hour": "Stop at 12 hours, not later.",
    "stop, window not known": "Stop at 12 hours.",
    "conche longer": "Conche longer than 24 hours.",
    "no hour fits": "No hour that was served (0 to 24 h) fits.",
    "reference meets limits": "Cannot tell yet.",
    "reference meets limits, last look": "Stay at 24 hours.",
    "reference misses a limit": "Cannot tell yet.",
    "reference fails": "Cannot tell yet: 24 h itself does not fit.",
    "still improving": "Cannot tell yet: acidity still gets better.",
    "still improving, two": "Cannot tell yet: acidity and bitterness still get better.",
    "still improving, unnamed": "Cannot tell yet.",
    "window, may have faded": "Cannot tell yet: 12 h may already be too late.",
    "window, grown": "Cannot tell yet: 12 h may already be too late.",
    "window, faded": "Cannot tell yet: 12 h is long enough, but too late.",
    "window at the reference": "Cannot tell yet: 24 h may already be too late.",
    "better hours": "Cannot tell yet: 8 h is better than 4 h.",
    "better hours, unnamed": "Cannot tell yet.",
    "control not found": "Cannot tell: the panel did not find the pull known to differ.",
    "orders": "Cannot tell: the serving orders favour some pulls.",
    "batch missing": "Cannot tell: a sealed batch is missing.",
    "batches apart": "Cannot tell: the batches were tasted by different people.",
    "too few batches": "Cannot tell: too few batches for a claim on the recipe.",
    "not enough data": "Cannot tell: there are too few scores.",
    "not enough data, copied": "Cannot tell: some scores look copied.",
    "not enough data, one score": "Cannot tell: everyone gave one and the same score.",
}


@pytest.mark.parametrize(("kind", "headline"), HEADLINES.items())
def test_the_headline_is_the_answer(kind: str, headline: str) -> None:
    """The first sentence alone tells what to do."""
    assert hours_finding(KINDS[kind]).headline == headline


LEDES = {
    "stop": [
        "Acidity decides: worse by 0.4 units, at most 0.9, against a margin of 1.0.",
        "at most 5 of 100 such studies",
    ],
    "stop, better than the reference": ["better by 0.4 units, worse by 0.1 at most"],
    "stop, same wanted": ["apart by −0.3 units, between −0.8 and 0.2, against a margin of 1.0 either way"],
    "stop, limit": ["Its mean is 3.9, at most 4.4, and the limit is 4.5."],
    "stop, limit from below": ["Its mean is 3.1, at least 2.6, and the limit is 2.0."],
    "stop, window": ["At 24 h cacao flavour is no longer shown to be kept."],
    "stop, window of two notes": ["At 24 h cacao flavour and fruit are no longer shown to be kept."],
    "stop, window of a note that grows": ["At 24 h more off-notes is found again than at a shorter pull."],
    "stop, window of two notes that grow": ["At 24 h more off-notes and smoke is found again than at a shorter pull."],
    "stop, window of both": ["At 16 h cacao flavour is no longer", "At 16 h more off-notes is found again"],
    "stop, window without a name": ["At 24 h it is no longer shown that every note is kept."],
    "conche longer, another held": ["Held meanwhile: bitterness."],
    "conche longer, two": [
        "Cacao flavour still got better from 16 to 24 h, by 0.8 units, at least 0.3. Acidity still got better",
        "Held meanwhile: bitterness.",
    ],
    "conche longer": [
        "Acidity still got better from 16 to 24 h, by 0.6 units, at least 0.1.",
        "Pull again at 32 and 40 h",
    ],
    "no hour fits": [
        "Smoke at 0, 4, 8, 12, 16 and 24 h: the limit of 2.9 units is missed.",
        "Whether a longer one would fit was not shown.",
        "Change a margin or a limit before the next study, or the process.",
    ],
    "no hour fits, two limits": [
        "Smoke at 0, 4, 8, 12, 16 and 24 h: the limit of 2.9 units is missed.",
        "Cacao flavour at 0, 4, 8, 12, 16 and 24 h: the limit of 4.6 units is missed.",
    ],
    "no hour fits, grown": ["Off-notes at 12, 16 and 24 h: grown again since a shorter pull, by 1.0 units or more."],
    "no hour fits, something else": ["Viscosity at 0, 4, 8, 12, 16 and 24 h: shown to fail."],
    "stop, level with the reference": ["Acidity decides: no worse on average, worse by 0.6 at most"],
    "open, level": ["acidity is no worse on average, but it could be worse by 1.4 and the margin is 1.0."],
    "no hour fits, too short then too long": [
        "Acidity at 0, 4 and 8 h: the limit of 5.5 units is missed.",
        "Fruit at 12, 16 and 24 h: faded since a shorter pull, by 1.0 units or more.",
    ],
    "better hours": [
        "4 h comes close enough to 24 h, but 8 h is shown to be better than 4 h.",
        "Acidity at 8 h: better than at 4 h by 1.6 units, at least by its margin of 1.0.",
        "It is better than at 24 h too, by 1.5 units, at least 1.0.",
        "Plan a new study with 8 h as the longest pull, and seal it as the reference to be matched.",
    ],
    "better hours, two of them": ["12 h is better too."],
    "better hours, three of them": ["12 and 16 h are better too."],
    "better hours, two notes": [
        "Fruit at 8 h: better than at 4 h by 1.4 units, at least by its margin of 1.0.",
        "It is better than at 24 h too, by 1.2 units, at least 0.7.",
    ],
    "window, may have faded": [
        "12 h comes close enough to 24 h, but may come too late.",
        "Fruit was not shown to be kept at 12 h: lower than at 8 h by 0.7 units, and a loss of 1.0 units, its margin,",
        "An hour between 8 and 12 h may be long enough and still early enough.",
    ],
    "window, no loss seen": [
        "Fruit was not shown to be kept at 12 h: a loss of 1.0 units, its margin, is not ruled out."
    ],
    "window, faded": [
        "12 h comes close enough to 24 h, but too late.",
        "Fruit at 12 h: faded, lower than at 4 h by 2.8 units, and a loss of 1.0 or more is shown.",
    ],
    "window, grown": [
        "Off-notes at 12 h: grown again, higher than at 4 h by 0.6 units, between 0.2 and 1.0.",
    ],
    "window, grown without limits": ["Off-notes at 12 h: grown again, higher than at 4 h by 0.6 units."],
    "window, both": ["Fruit was not shown to be kept at 12 h", "Off-notes at 12 h: grown again"],
    "window at the reference": ["24 h itself may come too late."],
    "still improving": [
        "Acidity still got better from 16 to 24 h, by 0.6 units, at least 0.1.",
        "Whether fruit holds meanwhile was not shown.",
        "Until it is known, stay at 24 h.",
    ],
    "still improving, two not held": ["Whether fruit and body hold meanwhile was not shown."],
    "still improving, two": ["Bitterness still got better from 16 to 24 h", "Acidity still got better from 16 to 24 h"],
    "still improving, better before": ["For acidity, a shorter pull may have been better than 24 h."],
    "reference fails": [
        "24 h itself misses the limit for smoke: mean 3.5, at least 3.0, limit 2.9 units.",
        "Nothing that was shown speaks against 12 h.",
        "Plan a new study with 12 h as the longest pull, or taste these pulls again.",
    ],
    "reference fails, two pulls": ["speaks against 8 and 12 h.", "a new study with 12 h as the longest pull"],
    "reference fails, from below": [
        "24 h itself misses the limit for cacao flavour: mean 3.5, at most 4.0, limit 4.6 units."
    ],
    "reference fails, faded": [
        "24 h itself comes too late for fruit: faded since a shorter pull, by 1.0 units or more."
    ],
    "reference fails, two notes": [
        "24 h itself misses the limit for smoke",
        "24 h itself comes too late for off-notes: grown since a shorter pull, by 1.0 units or more.",
    ],
    "reference fails, something else": ["24 h itself fails on viscosity."],
    "too far apart": ["sweetness is apart by −1.9 units, between −2.4 and −1.4, and the margin is 1.0 either way."],
    "over its limit": ["16 h misses the limit for acidity."],
    "too late": ["16 h comes too late for fruit: faded since a shorter pull, by 1.0 units or more."],
    "too late, grown": ["16 h comes too late for off-notes: grown again since a shorter pull, by 1.0 units or more."],
    "reference meets limits": [
        "16 h may be as good as 24 h: acidity is worse by 0.6 units, but it could be up to 1.1 and the margin is 1.0.",
        "Until it is known, stay at 24 h.",
    ],
    "reference meets limits, with a limit": ["24 h meets every limit."],
    "reference misses a limit": ["24 h itself was not shown to meet the limit for acidity."],
    "too short": [
        "16 h is too short: acidity is worse than at 24 h by 1.9 units, at least 1.4, and the margin is 1.0."
    ],
    "control not found": ["So sameness cannot be believed today", "Check labels, temperature and rests"],
    "orders": ["Serve again in balanced orders."],
    "not enough data": ["Acidity could not be judged"],
    "not enough data, copied": ["Ask whether scores of acidity were copied, and taste again."],
    "not enough data, two copied": ["Acidity and bitterness could not be judged", "scores of acidity and bitterness"],
}


@pytest.mark.parametrize(("kind", "said"), LEDES.items())
def test_the_lede_gives_the_reason_with_its_numbers(kind: str, said: list[str]) -> None:
    """What decides, how close it comes, and what to do now."""
    told = hours_finding(KINDS[kind]).lede
    assert [sentence for sentence in said if sentence not in told] == []


# The reasons as the decision's docstring lists them, in the order in which the rule asks.
REASONS = (
    "orders",
    "batch missing",
    "batches apart",
    "too few batches",
    "reference lost",
    "not enough data",
    "control not found",
    "pull missing",
    "unjudged",
    "limits of instruments",
    "better hours",
    "window",
    "still improving",
    "reference fails",
    "reference misses a limit",
    "reference meets limits",
)


def test_every_reason_has_its_sentences_and_none_is_left_over() -> None:
    """Each reason has a decision here, a headline and a lede of its own, and words wait for no reason that is gone."""
    assert reasons() == frozenset(REASONS)
    told = {decided.reason: hours_finding(decided) for decided in KINDS.values() if decided.verdict == "cannot tell"}
    assert set(told) == set(REASONS)
    assert len({finding.lede for finding in told.values()}) == len(REASONS)
    assert {d.reason for d in KINDS.values() if d.verdict == "no hour fits"} == {"every pull fails"}


def test_limits_of_instruments_are_told_with_their_numbers() -> None:
    """What decides, how near the limit is, what is open and what would settle it."""
    said = hours_finding(KINDS["viscosity decides"])
    assert "Flavour is ready at 12 h, viscosity at 16 h: viscosity decides." in said.lede
    assert "Viscosity at 16 h is 3.40 Pa.s, at most 3.47 Pa.s, and the limit is 4 Pa.s." in said.lede
    assert "A limit for viscosity of 3.47 Pa.s or less: then 16 h would not do." in said.changes
    open_ = hours_finding(KINDS["limits of instruments"])
    assert open_.headline == "Cannot tell yet: flavour is ready, viscosity not."
    assert "Viscosity at 16 h: open: too near the limit (at most 4 Pa.s)." in open_.lede
    assert "2 more portions of the 16 h pull settle viscosity there in about 7 of 10 cases." in open_.lede
    unread = hours_finding(KINDS["a pull not read"]).lede
    assert "Viscosity at 16 h was not read: it takes the answer of the next shorter pull" in unread
    turning = hours_finding(KINDS["a mass that thickens again"]).lede
    assert "Viscosity at 24 h: shown to fail (at most 4 Pa.s)." in turning
    assert "keeps its limit at 8 h and breaks it again at 24 h" in turning
    thick = hours_finding(KINDS["no hour thin enough"]).lede
    assert "Viscosity at 0, 4, 8, 12, 16 and 24 h: the limit, at most 4 Pa.s, is broken." in thick
    longer = hours_finding(KINDS["longer for the mass"])
    assert "Viscosity still came nearer to its limit of 4 Pa.s: 5.5 Pa.s at 16 h, 5.0 Pa.s at 24 h." in longer.lede
    assert longer.facts[0].value == "viscosity"


@pytest.mark.parametrize("reason", ["moon phase", None])
def test_an_unknown_reason_is_refused(reason: str | None) -> None:
    """An answer must not be told with another reason's words."""
    strange = replace(KINDS["orders"], reason=reason)
    with pytest.raises(ValueError, match="no headline for the reason"):
        hours_finding(strange)
    with pytest.raises(ValueError, match="no sentences for the reason"):
        lede(strange, (), None)


def test_nothing_is_said_to_beat_the_reference_that_was_not_shown_to() -> None:
    """8 h is 0.9 units ahead of 24 h, but could lie 3 units behind it."""
    said = hours_finding(KINDS["better hours, not than the reference"]).lede
    assert "Acidity at 8 h: better than at 4 h by 1.3 units" in said
    assert "24 h too" not in said


def test_no_study_is_proposed_that_could_not_be_planned() -> None:
    """A study needs a shorter pull beside its longest, so the shortest pull served is no reference for it."""
    finding = hours_finding(KINDS["reference fails, only the shortest"])
    assert "Nothing that was shown speaks against 0 h." in finding.lede
    assert not any("new study" in text and "0 h as" in text for text in (finding.lede, *finding.changes))


@pytest.mark.parametrize("kind", ["better hours", "orders", "control not found"])
def test_no_price_is_named_where_more_scores_do_not_help(kind: str) -> None:
    """The lede says what to do instead."""
    assert "would settle it" not in hours_finding(KINDS[kind], OFFERS).lede


@pytest.mark.parametrize("kind", ["window, grown", "still improving", "reference fails", "reference meets limits"])
def test_the_price_of_an_answer_follows_a_question_that_is_open(kind: str) -> None:
    """More sittings may settle these."""
    assert "would settle it in at least about 6 of 10 cases" in hours_finding(KINDS[kind], OFFERS).lede


CHANGES = {
    "better hours": ["A new study that is sealed with 8 h as its reference."],
    "window, both": [
        "Fruit at 12 h shown to be kept since every shorter pull: it is not yet.",
        "Off-notes at 12 h back down to what a shorter pull had.",
        "A pull between 8 and 12 h.",
    ],
    "window, faded": ["A pull between 8 and 12 h."],
    "still improving": [
        "Fruit at 24 h shown to have held since every shorter pull: it is not yet.",
        "Pulls at 32 and 40 h: they would show where it levels off.",
    ],
    "reference fails": [
        "Another margin or limit, set and sealed before the next study, or a changed process.",
        "A new study that is sealed with 12 h as its reference.",
    ],
    "control not found": [],
    "orders": [],
    "not enough data": [],
}


@pytest.mark.parametrize(("kind", "said"), CHANGES.items())
def test_what_would_settle_an_open_question(kind: str, said: list[str]) -> None:
    """The nearest change first; nothing where the panel or its scores cannot be believed."""
    assert list(hours_finding(KINDS[kind]).changes) == said


def test_the_scope_names_those_it_rests_on() -> None:
    """Eight people tasted, three of them both pulls: the answer is theirs (the fewest of all warnings)."""
    holds = hours_finding(KINDS["stop, rests on few"]).facts[3]
    assert holds.note == "8 assessors, 2 sittings; only 3 of them scored both pulls compared"


def test_the_error_promised_is_that_of_the_whole_rule_not_of_one_look() -> None:
    """Two looks at 3.04 % each keep the sealed 5 % (STOP rule, spent error)."""
    finding = hours_finding(decision(looks=2, look=2, level=0.0304))
    assert "5 of 100" in finding.lede
    assert "94 % interval" in finding.charts_intro


def test_the_price_names_cases_grams_and_minutes() -> None:
    """`cannot tell` says what an answer costs a person and how often it comes."""
    finding = hours_finding(KINDS["reference meets limits"], OFFERS, costs=COSTS)
    assert (
        "1 more sitting would settle it in at least about 6 of 10 cases; it costs 36 g and 48 min a person."
        in finding.lede
    )
    assert "By the last of the 3 openings that are left it would be settled in at least about 7 of 10" in finding.lede
    assert [row.grams for row in finding.offers] == ["27 g", "36 g", "81 g"]
    assert [row.palates for row in finding.offers] == ["8 seats", "8 seats", "24 seats"]
    assert [row.chance for row in finding.offers] == [
        "at least about half of all",
        "at least about 6 of 10",
        "at least about 7 of 10",
    ]
    assert [row.error for row in finding.offers] == ["± 2 %"] * 3
    assert "up to 3 more sittings with all pulls, 1.8 on average" in finding.offers[2].what
    assert "0, 12, 16 and 24 h pulls" in finding.offers[1].what


def test_what_is_told_is_said_and_not_what_the_draws_gave() -> None:
    """Nine of ten drawn studies settled; a half is told, in words, or next to nothing."""
    drawn = replace(OFFERS[0], settles=0.9, told=0.5)
    lede = hours_finding(KINDS["reference meets limits"], [drawn]).lede
    assert "1 more sitting would settle it in at least about half of all cases." in lede
    seldom = hours_finding(KINDS["reference meets limits"], [replace(drawn, told=0.0)])
    assert "More of the same would seldom settle it: in fewer than 1 of 10 cases." in seldom.lede
    assert [row.chance for row in seldom.offers] == ["fewer than 1 of 10"]


def test_the_piece_before_the_scored_ones_is_eaten_too() -> None:
    """One more each sitting: 7 x 4.5 g and 7 x 6 min, then 9 and 21 of them."""
    warm = Costs(grams=4.5, minutes=6.0, warm_up=True)
    rows = hours_finding(KINDS["reference meets limits"], OFFERS, costs=warm).offers
    assert [row.servings for row in rows] == ["6 servings", "8 servings", "18 servings"]
    assert [row.grams for row in rows] == ["31.5 g", "40.5 g", "94.5 g"]
    assert [row.minutes for row in rows] == ["42 min", "54 min", "126 min"]


@pytest.mark.parametrize(
    "kind",
    [
        "reference meets limits",
        "reference misses a limit",
        "open, level",
        "conche longer",
        "conche longer, two",
        "no hour fits",
        "no hour fits, too short then too long",
        "better hours",
        "window, may have faded",
        "window, grown",
        "still improving",
        "reference fails",
        "reference fails, faded",
    ],
)
def test_the_fact_names_the_attribute_of_the_lede(kind: str) -> None:
    """One page must not say that acidity binds and explain bitterness."""
    finding = hours_finding(KINDS[kind])
    assert finding.facts[0].value in finding.lede.lower()


def test_nothing_binds_when_the_panel_cannot_be_believed() -> None:
    """Without the control, or with lopsided orders, no attribute is to blame."""
    for kind in ("control not found", "orders", "not enough data"):
        assert hours_finding(KINDS[kind]).facts[0].value == "nothing yet"


def test_a_tighter_margin_moves_the_answer_to_the_next_pull_that_holds() -> None:
    """Acidity is at most 0.92 at 12 h and 0.62 at 16 h: from 0.92 down 12 h does not pass."""
    said = "A margin for acidity of 0.92 units or less: then 16 h at the earliest."
    assert hours_finding(decision()).changes[0] == said
    alone = decision(attribute("acidity", (3.1, 1.9, 1.6, 1.2, 0.4)))
    assert "then nothing shorter than 24 h would do" in hours_finding(alone).changes[0]


@settings(max_examples=100)
@given(st.floats(-0.5, 0.47), st.floats(-0.5, 0.47))
@example(0.31, 0.1)  # 0.83 units, once told as "below 0.8"
@example(0.317, 0.315)  # the longer pull lies between the number told and the turning point
@example(0.1, 0.4)  # the longer pull is the first to fail
def test_the_margin_told_changes_the_answer_and_a_hundredth_more_does_not(worse: float, later: float) -> None:
    """Held against the limits themselves: at the margin told the pull fails and the hour told is the first within."""
    result = attribute("acidity", (3.1, 1.9, 1.6, worse, later))
    upper = {pull.hours: pull.decisive_upper or 0.0 for pull in result.pulls}
    turning = max(upper[12.0], upper[16.0])
    told = hours_finding(decision(result)).changes[0]
    if turning < 0.01:
        assert not told.startswith("A margin")
        return
    margin, earliest = (float(number) for number in re.findall(r"\d+(?:\.\d+)?", told))
    assert margin <= turning < margin + 0.01 + 1e-9
    assert earliest == (16.0 if upper[16.0] < margin else 24.0)


def test_one_batch_is_named_as_the_scope() -> None:
    """The scope is these assessors and this batch, and that a second was not tasted stands under what would change."""
    finding = hours_finding(decision())
    assert finding.facts[3].value == "this batch"
    assert finding.facts[3].note == "8 assessors, 2 sittings"
    assert any("one batch only" in sentence for sentence in finding.changes)


def test_the_picture_in_one_sentence() -> None:
    """A reader aloud hears every difference, the margin and the hour."""
    sentence = attribute_alt(decision().attributes["acidity"])
    assert sentence == (
        "Acidity: worse than the 24 h pull by 3.1 at 0 h, 1.9 at 4 h, 1.1 at 8 h, 0.4 at 12 h and 0.1 at 16 h, "
        "in scale units; within the margin of 1.0 from 12 h on."
    )
    assert "no shorter pull is shown" in attribute_alt(KINDS["reference meets limits"].attributes["acidity"])
    assert attribute_alt(replace(decision().attributes["acidity"], judged=False)) == "Acidity: not judged."


def test_a_pull_below_a_failed_longer_one_is_not_called_within() -> None:
    """The rule steps down and ends at the first failure, so a shorter pull that lies in the margin is not shown."""
    result = attribute("acidity", (0.2, 0.1, 1.1, 0.4, 0.1))
    assert pull_says(result, result.pulls[0]).endswith("but a longer pull was not shown")
    assert pull_says(result, result.pulls[3]) == "12 hours: worse by 0.4, at most 0.9, within the margin"
    assert pull_says(result, result.pulls[5]) == "24 hours: the reference"


def test_a_reference_that_misses_its_limit_makes_no_pull_enough_and_a_faded_one_those_before() -> None:
    """A window closes before a reference that has faded: the pulls inside it are the answer, so they are shown so."""
    result = KINDS["reference fails"].attributes["smoke"]
    assert result.shortest_hours is None or result.pulls[-1].shown_to_fail
    assert enough(result) is None
    assert attribute_alt(result).endswith("in scale units; the 24 h pull itself is shown to fail.")
    assert pull_says(result, result.pulls[5]) == "24 hours: the reference, shown to fail"
    faded = KINDS["reference fails, faded"].attributes["fruit"]
    assert faded.shortest_hours == 0.0  # all lie in the margin of a pull that has faded
    assert (enough(faded), shown(faded, faded.pulls[4]), shown(faded, faded.pulls[5])) == (0.0, True, False)
    assert attribute_alt(faded).endswith("within the margin of 1.0 from 0 h on.")
    same = replace(faded, rule=replace(faded.rule, wanted="same"), shortest_hours=None)
    assert attribute_alt(same).endswith("the 24 h pull itself is shown to fail.")


def test_a_pull_that_came_too_late_is_not_called_within() -> None:
    """It may lie in the margin of the longest pull and still be worse than a shorter one."""
    result = lost(attribute("fruit", (-0.3, -0.9, -0.2, 0.3, 0.1), wanted="higher"), 12.0)
    assert pull_says(result, result.pulls[3]) == "12 hours: worse by 0.3, at most 0.8, shown to fail"
    assert pull_says(result, result.pulls[4]) == "16 hours: worse by 0.1, at most 0.6, within the margin"
    ahead = lost(result, 8.0).pulls[2]
    assert pull_says(result, ahead) == "8 hours: better by 0.2, worse by 0.3 at most, shown to fail"
    assert enough(lost(result, 0.0)) == 4.0  # the pole stands at no cross
    same = lost(attribute("colour", (-3, -2, -2, 0.3, 0.1), wanted="same"), 8.0)
    assert pull_says(same, same.pulls[2]) == "8 hours: apart by −2.0, between −2.5 and −1.5, shown to fail"


@pytest.mark.parametrize(
    ("result", "pull", "expected"),
    [
        (attribute("acidity", (5, 4, 3, 2.5, 0.9), limit=3.8), 4, "fails its limit"),
        (attribute("cacao", (5, 4, 3, 2.5, 0.9), wanted="higher", limit=3.2), 4, "fails its limit"),
        (attribute("acidity", (5, 4, 3, 2.5, 0.9)), 3, "fails its margin"),
        (attribute("colour", (-5, -4, -3, -2.5, -0.9), wanted="same"), 3, "fails its margin"),
        (lost(attribute("fruit", (-0.3, -0.9, -0.2, 0.3, 0.1), wanted="higher"), 12.0), 3, "faded"),
        (lost(attribute("off-notes", (-0.3, -0.9, -0.2, 0.3, 0.1)), 12.0), 3, "grown again"),
    ],
)
def test_the_table_says_on_what_a_pull_fails(result: AttributeResult, pull: int, expected: str) -> None:
    """Beyond its limit, beyond its margin, or worse than a shorter pull."""
    assert result.pulls[pull].shown_to_fail or expected == "fails its margin"
    assert standing(result, result.pulls[pull]) == expected


def test_against_a_reference_that_fails_a_loss_is_named_before_a_margin() -> None:
    """At 16 h fruit is 2.0 below 24 h and 3.9 below 4 h: with 24 h out, only the loss since a shorter pull counts."""
    result = lost(attribute("fruit", (-1.6, -1.9, -1.5, 1.9, 2.0), wanted="higher"), 16.0)
    late = result.pulls[4]
    assert (failing.kind(result, late), failing.kind(result, late, margins_count=False)) == ("margin", "past")
    early = attribute("acidity", (3.1, 0.2, 0.1, 0.1, 0.1))  # nothing is shorter than 0 h
    assert failing.kind(early, early.pulls[0], margins_count=False) == "margin"


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (units(0.44), "0.4"),
        (units(-0.04), "0.0"),
        (units(-1.26), "−1.3"),
        (decimal(1234.5), "1234.5"),
        (hours(12.0), "12"),
        (hours(7.5), "7.5"),
        (hours(7.25), "7.25"),
        (hours_list([4, 8, 12]), "4, 8 and 12"),
        (hours_list([4]), "4"),
        (percent(0.384), "38 %"),
        (of_studies(0.05), "5 of 100"),
        (of_studies(0.025), "25 of 1000"),
        (of_ten(0.99), "9 of 10"),
        (of_ten(0.79), "7 of 10"),
        (of_ten(0.3), "3 of 10"),
        (of_ten(0.099), "fewer than 1 of 10"),
        (beside(0.98, 1.0), "0.98"),
        (beside(0.9996, 1.0), "0.9996"),
        (beside(0.9, 1.0), "0.9"),
        (beside(1.0, 1.0), "1.0"),
    ],
)
def test_numbers_are_written_for_people(written: str, expected: str) -> None:
    """One decimal on scales, whole per cent, no trailing zero on hours, a true minus, no false equality."""
    assert written == expected
