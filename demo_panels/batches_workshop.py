"""The invented batches of the invented workshop: programme, machine log, flow curves and moisture, drawn from a truth.

Six batches over two recipes; one departs from its plan, and beside one stands a ladder of butter. `batches.toml` holds
what is true of each.
"""

from __future__ import annotations

import random
import tomllib
from functools import cache
from math import exp, log, sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studyapp.batches import Curve, Draft, Ladder, Log, Making, Mill, Part, Phase, Reading, Rung
from studyapp.services import batches, ladders, readings

if TYPE_CHECKING:
    from demo_panels.workshop import Workshop

TRACES = "milk, hazelnut, soya"
INSTRUMENT, METHOD = "bench viscometer", "40 °C, on the way down"
PORTIONS = (1, 2, 3)
STEP_H = 0.1
FALL_H, COOL_H = 1.0, 22.0
# The programme in hours, and the temperature and turns of each phase.
PHASES = (("Fill", 0.0, 2.0, 50.0, 20.0), ("Dry", 2.0, 10.0, 65.0, 45.0), ("Wet", 10.0, 24.0, 60.0, 45.0))


@cache
def truth() -> dict[str, Any]:
    """What the file says."""
    return tomllib.loads(Path(__file__).with_name("batches.toml").read_text(encoding="utf-8"))


def recipe_of(name: str) -> tuple[str, dict[str, Any]]:
    """The recipe of the batch behind a folder, the first one where it has none of its own."""
    number = truth()["batches"].get(name, {}).get("recipe", 0)
    return list(truth()["recipes"].items())[number]


def record(shop: Workshop, study: str, name: str, machine: str) -> None:
    """The batch that a study tasted, where the file names one: its record, its log and what was read of it."""
    told = truth()["batches"].get(name)
    if told is None:
        return
    chance = random.Random(f"{truth()['seed']} {name}")
    recipe, made = recipe_of(name)
    late, above = told.get("late", 0.0), told.get("above", 0.0)
    draft = Draft(told["label"], recipe, machine, str(truth()["seed"]), 10000.0, None, _made(made), _phases(late))
    id_ = batches.add(shop.store, shop.leader, draft, study)
    batches.bring_log(shop.store, shop.leader, id_, _log(chance, late, above))
    readings.keep(shop.store, shop.preparer, id_, list(drawn(chance, made)))
    if name == truth()["ladder"]["batch"]:
        ladders.keep(shop.store, shop.preparer, id_, ladder(made))


def _made(told: dict[str, Any]) -> Making:
    parts = tuple(Part(name, share) for name, share in told["parts"])
    mill = Mill("ball mill", "6 mm", 90.0, 310.0, 11.2, "on", "off from 3 h")
    return Making(parts, "118 °C, 24 min", "mill first", mill, contains=told["contains"], traces=TRACES)


def _phases(late: float) -> tuple[Phase, ...]:
    """As planned; a late start of the dry phase shifts its end, and the wet one is shorter for it."""
    found = []
    for name, start, end, degrees, turns in PHASES:
        begun = start + late if late and start else None
        ended = end + late if late and end < PHASES[-1][2] else None
        found.append(Phase(name, start, end, degrees, turns, begun, ended))
    return tuple(found)


def _log(chance: random.Random, late: float, above: float) -> Log:
    """Six minutes a step: the mass follows its jacket; half an hour is missing where somebody cleaned the probe."""
    hours = [n * STEP_H for n in range(int(24 / STEP_H) + 1) if not 15.0 < n * STEP_H < 15.5]
    degrees, mass = [], 34.0
    for at in hours:
        wanted = next(told[3] for told in reversed(PHASES) if at >= told[1] + (late if told[1] else 0.0))
        mass += ((wanted + (above if wanted == PHASES[1][3] else 0.0)) - mass) * (1 - exp(-STEP_H / FALL_H))
        degrees.append(round(mass + chance.gauss(0, 0.2), 1))
    turns = [next(told[4] for told in reversed(PHASES) if at >= told[1] + (late if told[1] else 0.0)) for at in hours]
    return Log(tuple(hours), {"temperature_c": tuple(degrees), "speed_rpm": tuple(turns)}, STEP_H, len(hours))


def drawn(chance: random.Random, told: dict[str, Any]) -> list[Reading | Curve]:
    """Three fresh portions of each pull: a way down on Casson's line, and moisture."""
    spread, found = truth(), list[Reading | Curve]()
    for hour, low, slope, water in zip(spread["pulls"], told["yield"], told["plastic"], told["water"], strict=True):
        for portion in PORTIONS:
            factor = exp(chance.gauss(0, spread["portion"]))
            stresses = [(sqrt(low) + sqrt(slope * rate)) ** 2 * factor for rate in spread["rates"]]
            off = [exp(chance.gauss(0, spread["point"])) for _rate in stresses]
            points = [(float(r), round(s * o, 1)) for r, s, o in zip(spread["rates"], stresses, off, strict=True)]
            found.append(Curve(float(hour), portion, "down", tuple(points), INSTRUMENT, METHOD))
            moisture = round(chance.gauss(water, spread["moisture"]), 2)
            found.append(Reading(float(hour), "moisture", moisture, "oven", "103 °C", portion))
    return found


# ---- a ladder of butter ----------------------------------------------------------------------------------------------
def worth() -> dict[str, float]:
    """What the hours between the two masses of the ladder are truly worth in butter, per cent, by each quantity."""
    told, made = truth()["ladder"], recipe_of(truth()["ladder"]["batch"])[1]
    return {
        name: log(flow(made, name, told["short"]) / flow(made, name, told["conched"])) / fall
        for name, fall in told["fall"].items()
    }


def flow(made: dict[str, Any], quantity: str, hour: float) -> float:
    """What is true of a pull: stress at 5 1/s, Pa, or viscosity at 40 1/s, Pa.s."""
    at = truth()["pulls"].index(hour)
    rate = 40.0 if quantity.startswith("viscosity") else 5.0
    stress = (sqrt(made["yield"][at]) + sqrt(made["plastic"][at] * rate)) ** 2
    return stress / rate if quantity.startswith("viscosity") else stress


def ladder(made: dict[str, Any]) -> Ladder:
    """Two fresh portions of each step, three of the conched mass, read in one session."""
    told, chance, rungs = truth()["ladder"], random.Random(f"{truth()['seed']} ladder"), list[Rung]()
    for name, fall in told["fall"].items():
        steps = [
            (float(x), flow(made, name, told["short"]) * exp(-fall * x)) for x in told["added"] for _twice in (1, 2)
        ]
        conched = [(None, flow(made, name, told["conched"])) for _portion in PORTIONS]
        for added, mean in [*steps, *conched]:
            rungs.append(Rung(name, added, float(f"{mean * exp(chance.gauss(0, truth()['portion'])):.3g}")))
    prices = {name: told[name] for name in ("butter_kg", "kw", "kwh")}
    hours = (float(told["short"]), float(told["conched"]))
    return Ladder(*hours, "2026-11-24", INSTRUMENT, METHOD, tuple(rungs), **prices)
