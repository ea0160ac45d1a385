"""The invented comparisons of makes in the invented workshop: sealed, tasted, opened; signed where nothing is open."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from demo_panels import generate, makes
from studyapp.kinds.comparison.plan import TENS, ComparisonPlan, Likewise, every_piece
from studyapp.records import Attribute
from studyapp.services import planning, preparing

if TYPE_CHECKING:
    from demo_panels.workshop import Workshop

WORDS = {
    "acidity": "Sourness on the sides of the tongue, as of lemon or vinegar.",
    "cocoa flavour": "Fullness of roasted cocoa.",
    "grittiness": "Grains between tongue and palate, as of fine sand.",
    "astringency": "Dry and rough on tongue and gums.",
}


def fill(shop: Workshop) -> None:
    """Every comparison."""
    for name in makes.comparisons():
        finished(shop, name)


def plan_of(name: str, ids: dict[str, str]) -> ComparisonPlan:
    """The plan behind a folder of score files; `ids` of the assessors by pseudonym."""
    invented, rule = makes.settings(name), makes.settings(name, "RULE.toml")
    lines = [
        Attribute(line, WORDS[line], wanted=asked["wanted"], margin=asked["margin"])
        for line, asked in rule["attributes"].items()
    ]
    scope = rule.get("claim", "these batches")
    hours = invented.get("hours", (None, None))
    return ComparisonPlan(
        invented["title"],
        question=invented["question"],
        recipe="38 % invented lot, 20 % milk powder, 42 % sugar",
        makes=tuple(invented["makes"]),
        control=invented["control"],
        claims={line: asked.get("claim", "no worse") for line, asked in rule["attributes"].items()},
        scope=scope,
        batches=invented["sittings"] if scope == "make" else 1,
        faster=rule.get("faster", ""),
        short_hours=hours[0],
        long_hours=hours[1],
        pulls=tuple(tuple(map(float, own)) for own in makes.pulls(name).values()),
        alike=(
            *(_likewise(what, asked, len(invented["makes"])) for what, asked in rule.get("tolerances", {}).items()),
            *(_limited(name, what, asked, len(invented["makes"])) for what, asked in rule.get("gates", {}).items()),
        ),
        attributes=tuple(lines),
        alpha=rule["alpha"],
        looks=rule.get("looks", 1),
        sittings=invented["sittings"],
        replicates=invented["replicates"],
        assessors=tuple(ids[who] for who in generate.NAMES[: invented["assessors"]]),
        contains="cocoa mass, cane sugar, milk powder",
        traces="hazelnut, soya",
        rest_seconds=0,
        warm_up=False,
    )


def _likewise(what: str, asked: dict[str, Any], count: int) -> Likewise:
    readings = tuple(tuple(asked["readings"].get(make, ())) for make in "ABCD"[:count])
    return Likewise(what, asked["unit"], asked["tolerance"], readings)


def _limited(name: str, what: str, asked: dict[str, Any], count: int) -> Likewise:
    """A limit of an instrument, with the readings of the folder."""
    read = makes.readings(name)
    readings = tuple(
        tuple(value for make, quantity, value in read if (make, quantity) == (letter, what))
        for letter in "ABCD"[:count]
    )
    return Likewise(what, asked["unit"], 0.0, readings, asked.get("at_most"), asked.get("at_least"))


def finished(shop: Workshop, name: str) -> None:
    """One comparison, tasted to its end."""
    from demo_panels.workshop import open_key, sign, taste

    plan = plan_of(name, {one.pseudonym: one.id for one in shop.assessors})
    study = planning.start(shop.store, shop.leader, "comparison", ComparisonPlan(plan.title), example=True)
    planning.keep_plan(shop.store, shop.leader, study, plan)
    planning.seal(shop.store, shop.leader, study, plan.title)
    scores = {
        (row.sitting, row.assessor, row.hours, row.replicate, row.attribute): row.score for row in makes.draw(name)
    }
    for sitting in preparing.sittings(shop.store, shop.preparer, study):
        codes = preparing.levels_by_code(shop.store, shop.preparer, sitting.id)
        taste(shop, sitting, {code: place_of(plan, level) for code, level in codes.items()}, scores)
    open_key(shop, study)
    if "cannot tell" not in makes.settings(name)["expected"].values():
        sign(shop, study)


def place_of(plan: ComparisonPlan, level: float) -> float:
    """The place of a piece among those that a folder draws: the control, then the makes, or all their pulls."""
    if plan.pulls:
        return float(every_piece(plan).index(level))
    return float(int(level) // TENS)
