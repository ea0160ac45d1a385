"""The sentences of a decision: every wording says what it must, and none says what was not shown."""

from __future__ import annotations

import re
from dataclasses import fields, replace

import pytest

from studyapp.findings import Costs, HoursFinding, attribute_alt, beside, decimal, hours_finding, pull_says
from studyapp.findings.numbers import hours, hours_list, of_studies, of_ten, percent, units
from tests.findings.decisions import OFFERS, attribute, decision, every_kind

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
    assert [fact.label for fact in finding.facts] == ["Binds", "Saved", "Control found", "Holds for"]
    assert all(fact.value for fact in finding.facts)
    assert "allergens" in finding.caution


HEADLINES = {
    "stop": "Stop at 12 hours.",
    "stop, window": "Conche between 12 and 16 hours.",
    "stop, window of one hour": "Stop at 12 hours, not later.",
    "conche longer": "Conche longer than 24 hours.",
    "no hour fits": "No hour suits all.",
    "no hour fits, empty window": "No hour suits all.",
    "reference meets limits": "Cannot tell yet.",
    "reference meets limits, last look": "Stay at 24 hours.",
    "reference misses a limit": "Cannot tell yet.",
    "control not found": "Cannot tell: the panel did not find the pull known to differ.",
    "orders": "Cannot tell: the serving orders favour some pulls.",
    "not enough data": "Cannot tell: there are too few scores.",
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
    "stop, window": ["From 24 h on cacao flavour is no longer shown to be kept."],
    "conche longer": [
        "Acidity still got better from 16 to 24 h, by 0.6 units, at least 0.1.",
        "Pull again at 32 and 40 h",
    ],
    "no hour fits": ["acidity at 0, 4 and 8 h", "Change a margin or a limit before the next study, or the process."],
    "stop, level with the reference": ["Acidity decides: no worse on average, worse by 0.6 at most"],
    "open, level": ["acidity is no worse on average, but it could be worse by 1.4 and the margin is 1.0."],
    "no hour fits, too short then too long": [
        "Acidity is shown to be not good enough up to 8 h, and cacao flavour to be lost again from 12 h on."
    ],
    "no hour fits, empty window": ["Acidity needs 12 h or more, and cacao flavour is not shown to last beyond 8 h."],
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
}


@pytest.mark.parametrize(("kind", "said"), LEDES.items())
def test_the_lede_gives_the_reason_with_its_numbers(kind: str, said: list[str]) -> None:
    """What decides, how close it comes, and what to do now."""
    lede = hours_finding(KINDS[kind]).lede
    assert [sentence for sentence in said if sentence not in lede] == []


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
    assert "By the last of the 3 looks that are left it would be settled in at least about 7 of 10" in finding.lede
    assert [row.grams for row in finding.offers] == ["27 g", "36 g", "81 g"]
    assert [row.palates for row in finding.offers] == ["8 palates", "8 palates", "24 palates"]
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


@pytest.mark.parametrize("kind", ["reference meets limits", "reference misses a limit", "open, level", "conche longer"])
def test_the_fact_names_the_attribute_of_the_lede(kind: str) -> None:
    """One page must not say that acidity binds and explain bitterness."""
    finding = hours_finding(KINDS[kind])
    assert finding.facts[0].value in finding.lede.lower()


def test_nothing_binds_when_the_panel_cannot_be_believed() -> None:
    """Without the control, or with lopsided orders, no attribute is to blame."""
    for kind in ("control not found", "orders", "not enough data"):
        assert hours_finding(KINDS[kind]).facts[0].value == "nothing yet"


def test_a_tighter_margin_moves_the_answer_to_the_next_pull_that_holds() -> None:
    """Acidity is at most 0.92 at 12 h and 0.62 at 16 h: below 0.92 the answer is 16 h."""
    assert hours_finding(decision()).changes[0] == "A margin for acidity below 0.9 units: the answer becomes 16 h."
    alone = decision(attribute("acidity", (3.1, 1.9, 1.6, 1.2, 0.4)))
    assert "then nothing shorter than 24 h would do" in hours_finding(alone).changes[0]


def test_one_batch_is_named_as_the_scope_until_a_second_is_tasted() -> None:
    """The scope is these assessors and this batch; more only when batches entered the fit."""
    finding = hours_finding(decision())
    assert finding.facts[3].value == "this batch"
    assert finding.facts[3].note == "8 assessors, 2 sittings"
    assert any("one batch only" in sentence for sentence in finding.changes)
    two = hours_finding(decision(scope={"assessors": 12, "sittings": 1, "batches": 2}))
    assert (two.facts[3].value, two.facts[3].note) == ("these 2 batches", "12 assessors, 1 sitting")
    assert not any("one batch only" in sentence for sentence in two.changes)


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
