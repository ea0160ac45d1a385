"""What the store keeps and the screens receive: frozen values, no behaviour, no import but dataclasses and typing.

Times are ISO 8601 texts in UTC with seconds ("2026-11-24T10:41:07Z"). Ids that reach a browser are random texts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Role = Literal["leader", "preparer"]
Wanted = Literal["lower", "higher", "same"]
StudyState = Literal["draft", "sealed", "opened", "decided"]
SittingState = Literal["planned", "open", "paused", "closed"]
StudyKind = Literal["hours", "aroma"]
SCALE_LOW, SCALE_HIGH, SCALE_STEP = 0.0, 10.0, 0.1


# ---- the plan: what is sealed ------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Attribute:
    """One line of the ballot. `decides` False: it only describes, and needs no margin."""

    name: str
    definition: str = ""
    low_word: str = "none"
    high_word: str = "very strong"
    decides: bool = True
    wanted: Wanted = "lower"
    margin: float | None = 1.0
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Pull:
    """A sample taken from the conche at a set hour, and the mass planned for it."""

    hours: float
    mass_g: float | None = None


@dataclass(frozen=True, slots=True)
class Habits:
    """How a workshop works: somebody is there from `opens` to `closes` on `days` (0 Monday to 6 Sunday); minutes to
    temper and mould all pulls for a sitting, days that pieces rest before it, and when in the day sittings begin
    (mid-morning by default, when palates are fresh). Times are those of the clock on the wall, "08:00"."""

    opens: str = "08:00"
    closes: str = "18:00"
    days: tuple[int, ...] = (0, 1, 2, 3, 4)
    temper_minutes: int = 120
    rest_days: int = 7
    sitting_at: str = "10:30"


@dataclass(frozen=True, slots=True)
class Plan:
    """A conching-hours study before its seal; the sealed rule is the canonical JSON of this.

    `sittings` are served before the first look, `next_sittings` before each later one; `replicates` counts
    servings of a pull to one assessor in one sitting, as long as all pieces together stay within `palate`, the most
    pieces that one assessor tastes in a sitting; beyond it the pulls go round in balanced blocks. `assessors` holds
    assessor ids; `load_g` is the mass in the conche; `starts_at` is when hour zero is planned, a local ISO text without
    a zone.
    """

    title: str
    question: str = ""
    recipe: str = ""
    batch: str = ""
    machine: str = ""
    hour_zero: str = ""
    pulls: tuple[Pull, ...] = ()
    attributes: tuple[Attribute, ...] = ()
    control: float | None = None
    alpha: float = 0.05
    looks: int = 2
    sittings: int = 2
    next_sittings: int = 1
    replicates: int = 1
    assessors: tuple[str, ...] = ()
    piece_g: float = 4.5
    rest_seconds: int = 240
    warm_up: bool = True
    swallow: str = "swallow or spit, the same way each time"
    routine: str = "Sip warm water. Eat a piece of plain cracker. Sip again."
    contains: str = ""
    traces: str = ""
    lateness_minutes: int = 10
    palate: int = 6
    load_g: float | None = None
    starts_at: str | None = None
    habits: Habits = Habits()


AromaAim = Literal["detectable", "dose", "carry over", "linger"]


@dataclass(frozen=True, slots=True)
class Botanical:
    """What the hot air passed through: botanical name, plant part, supplier and lot; food grade only."""

    name: str = ""
    part: str = ""
    supplier: str = ""
    lot: str = ""


@dataclass(frozen=True, slots=True)
class AromaPlan:
    """A forced-choice study of an infused aroma before its seal; the sealed rule is the canonical JSON of this.

    `aim` says what the answers decide: whether an aroma is "detectable", from which "dose" on, through how many plain
    batches it does "carry over", how many days it does "linger". `doses` are minutes or grams (`dose_unit`); `batches`
    are plain batches after (carry over) or days (linger). The comparison cup is the `blank` (same mass, same hot air,
    no botanical); for carry over and linger it is the `reference`, plain chocolate made before any botanical.
    `trials_each` counts the sets of one assessor at each dose or batch; `cap` ends a sequential plan, in answers.
    """

    title: str
    aim: AromaAim = "detectable"
    question: str = ""
    note: str = ""
    nameable: bool = False
    method: str = "triangle"
    botanical: Botanical = Botanical()
    recipe: str = ""
    batch: str = ""
    process: str = ""
    blank: str = "same mass, same hot air, no botanical"
    doses: tuple[float, ...] = ()
    dose_unit: Literal["min", "g"] = "min"
    batches: tuple[int, ...] = ()
    reference: str = ""
    purge_g: float | None = None
    pd_limit: float = 0.30
    alpha: float = 0.05
    beta: float = 0.10
    trials_each: int = 3
    sets_a_sitting: int = 2
    sittings: int = 2
    sequential: bool = False
    cap: int | None = None
    retaste: bool = True
    assessors: tuple[str, ...] = ()
    piece_g: float = 4.5
    rest_seconds: int = 240
    contains: str = ""
    traces: str = ""
    swallow: str = "swallow or spit, the same way each time"
    routine: str = "Sip warm water. Eat a piece of plain cracker. Sip again."
    safe_food_by: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """Something to mend in a plan before it can be sealed. `blocks` False is a caution only."""

    where: str
    sentence: str
    blocks: bool = True


@dataclass(frozen=True, slots=True)
class Study:
    """A study as listed: its plan, its state and, once sealed, the SHA-256 of its rule."""

    id: str
    plan: Plan | AromaPlan
    state: StudyState
    created_at: str
    look: int = 0
    seal: str | None = None
    sealed_at: str | None = None
    sealed_by: str | None = None
    example: bool = False
    kind: StudyKind = "hours"


@dataclass(frozen=True, slots=True)
class HoursStudy(Study):
    """A study of conching hours. `rule_version` is the version of the stop rule that its seal names, None before."""

    plan: Plan
    rule_version: int | None = None


@dataclass(frozen=True, slots=True)
class AromaStudy(Study):
    """A study of an infused aroma."""

    plan: AromaPlan


@dataclass(frozen=True, slots=True)
class Chance:
    """A share of simulated studies, and how many were simulated."""

    share: float
    studies: int

    @property
    def error(self) -> float:
        """Two Monte Carlo standard errors of the share, with two studies added on either side, so that the error of a
        share of none or of all is not zero (Agresti and Coull 1998)."""
        n = self.studies + 4
        share = (self.share * self.studies + 2) / n
        return 2.0 * float((share * (1 - share) / n) ** 0.5)


@dataclass(frozen=True, slots=True)
class PlanPower:
    """What a plan can show: chances over simulated studies if the pull `enough_hours` is truly enough.

    `two_more_people` and `one_more_sitting` are the chance of a stop at that pull or earlier with the design so
    changed, None before any such study was tried. `done` of the `wanted` studies of all three designs are tried.
    """

    enough_hours: float
    stop_by: Chance
    stop_later: Chance
    conche_longer: Chance
    no_hour_fits: Chance
    cannot_tell: Chance
    two_more_people: Chance | None
    one_more_sitting: Chance | None
    mean_looks: float
    done: int
    wanted: int


# ---- people ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Staff:
    """Somebody who runs studies. `person` ties staff and assessor to one human, so that no key holder tastes."""

    id: str
    name: str
    role: Role
    person: str | None = None


@dataclass(frozen=True, slots=True)
class Account:
    """How a member signs in: at how many browsers now, when last (None when at none), and when the account ended."""

    member: Staff
    browsers: int
    latest: str | None
    ended_at: str | None


@dataclass(frozen=True, slots=True)
class Assessor:
    """A pseudonym that tastes. The real name and contact live apart, in `Person`, and can be erased."""

    id: str
    pseudonym: str
    may_taste: bool = True
    person: str | None = None


@dataclass(frozen=True, slots=True)
class JoinLink:
    """A personal code for one sitting; readable once, at issue. The address is `/join/CODE`."""

    pseudonym: str
    code: str


@dataclass(frozen=True, slots=True)
class Seat:
    """Who a phone is: one assessor in one sitting."""

    assessor: str
    pseudonym: str
    sitting: str


# ---- a sitting, as an assessor may see it ---------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Line:
    """One line scale of a ballot. `id` is what the phone sends back; `value` is the kept mark, if any."""

    id: str
    name: str
    definition: str
    low_word: str
    high_word: str
    value: float | None = None


PlaceKind = Literal[
    "nothing", "welcome", "waiting", "warm_up", "serving", "trial", "rest", "paused", "done", "stopped", "left"
]


@dataclass(frozen=True, slots=True)
class Place:
    """Where an assessor stands, with nothing that tells a sample: codes, texts and times only.

    `number` of `of` scored servings or sets; `ready_at` (UTC) is the end of a rest; `now` the server's time, so that a
    phone with a wrong clock still counts right. At kind "trial", `trial` is the set: its `cups` (codes in the order of
    tasting), the question to `ask`, how many cups to `pick`; with `tell_reference` the first cup is the reference and
    cannot be picked; `may_go_back` allows tasting again within the set, never changing a kept answer. In a sitting of
    sets `cups_a_set` (0 where cups are served one by one) and `botanical`, the plant in it, stand on every page: who
    tastes must be able to decline.
    """

    kind: PlaceKind
    pseudonym: str = ""
    sitting_label: str = ""
    serving: str | None = None
    code: str | None = None
    number: int = 0
    of: int = 0
    lines: tuple[Line, ...] = ()
    ready_at: str | None = None
    rest_seconds: int = 0
    now: str = ""
    saved_at: str | None = None
    contains: str = ""
    traces: str = ""
    swallow: str = ""
    routine: str = ""
    minutes: int = 0
    line_count: int = 0
    marks_kept: int = 0
    grams_today: float = 0.0
    grams_week: float = 0.0
    next_tasting: str | None = None
    trial: str | None = None
    cups: tuple[str, ...] = ()
    cups_a_set: int = 0
    ask: str = ""
    pick: int = 1
    tell_reference: bool = False
    may_go_back: bool = True
    botanical: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark as a phone posts it. `nonce` is made before sending; the same nonce twice is one mark."""

    serving: str
    line: str
    value: float
    nonce: str


@dataclass(frozen=True, slots=True)
class Kept:
    """The store's answer to a mark: when it was committed. `again` tells that it had been kept before."""

    at: str
    again: bool = False


# ---- a sitting, as leader and preparer see it ---------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Sitting:
    """One tasting occasion of a study. `label` is neutral: assessors read it."""

    id: str
    study: str
    number: int
    label: str
    state: SittingState
    starts_at: str | None = None


TrayChecks = Literal["safe_food", "allergens_shown", "sound_pieces", "labels_read", "botanical_named"]


@dataclass(frozen=True, slots=True)
class TrayCup:
    """One cup on a tray: seat, assessor and code."""

    seat: int
    pseudonym: str
    code: str


@dataclass(frozen=True, slots=True)
class Tray:
    """All cups served at one position (0 is the warm-up). Codes only: this is what the server of cups may see."""

    sitting: str
    position: int
    cups: tuple[TrayCup, ...]
    released_at: str | None = None
    released_by: str | None = None


@dataclass(frozen=True, slots=True)
class FillRow:
    """What goes into one cup, for the preparer alone: the code and the box letter and hours of its pull."""

    position: int
    seat: int
    code: str
    letter: str
    hours: float


@dataclass(frozen=True, slots=True)
class Quantity:
    """How much of one pull to set aside: `cups` servings, spares included, in grams."""

    letter: str
    hours: float
    cups: int
    grams: float


@dataclass(frozen=True, slots=True)
class SetFill:
    """What goes into the cups of one set, for the preparer alone: (code, box letter) in the order of tasting."""

    position: int
    seat: int
    cups: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class BoxQuantity:
    """How much of one box to set aside: `cups`, spares included, in grams; `sample` says what it holds."""

    letter: str
    sample: str
    cups: int
    grams: float


@dataclass(frozen=True, slots=True)
class Seated:
    """One row of the watch page: how far an assessor is, with no score. `since` is the start of the present step;
    `saved` counts the servings that are behind, `missing` those of them that were not judged."""

    pseudonym: str
    kind: PlaceKind
    saved: int
    of: int
    since: str | None = None
    ready_at: str | None = None
    waits_for_tray: int | None = None
    look: bool = False
    missing: int = 0


@dataclass(frozen=True, slots=True)
class Progress:
    """A sitting at a glance."""

    sitting: Sitting
    seats: tuple[Seated, ...]
    trays: tuple[Tray, ...]
    saved: int
    of: int
    deviations: int
    missing: int = 0


# ---- the record --------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Event:
    """One link of the chain: `hash` covers sequence number, time, kind, body and the previous hash."""

    seq: int
    at: str
    kind: str
    body: dict[str, object]
    prev: str
    hash: str
    study: str | None = None


@dataclass(frozen=True, slots=True)
class Deviation:
    """A departure from the plan, with what was known when it was noted."""

    at: str
    by: str
    sentence: str
    known: Literal["nothing served", "no results seen", "results not opened", "results seen"]


@dataclass(frozen=True, slots=True)
class Finding:
    """What `studyapp check` says of one record."""

    level: Literal["error", "warning", "info"]
    sentence: str


@dataclass(frozen=True, slots=True)
class CheckReport:
    """The whole check: findings, and the head of the chain as count and hash."""

    findings: tuple[Finding, ...]
    events: int
    head: str

    @property
    def sound(self) -> bool:
        """True when nothing is an error."""
        return all(finding.level != "error" for finding in self.findings)


@dataclass(frozen=True, slots=True)
class Signature:
    """Who decided, and who ran the test."""

    name: str
    role: str
    at: str


@dataclass(frozen=True, slots=True)
class SealSlip:
    """What a seal prints: the hash of the rule and the head of the chain at that moment."""

    seal: str
    at: str
    by: str
    head: str
    events: int
    sentences: tuple[str, ...] = field(default=())
