"""What the store keeps and the screens receive: frozen values, no behaviour, no import but dataclasses and typing.

Times are ISO 8601 texts in UTC with seconds ("2026-11-24T10:41:07Z"). Ids that reach a browser are random texts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, Literal, TypeVar

Role = Literal["leader", "preparer"]
Wanted = Literal["lower", "higher", "same"]
StudyState = Literal["draft", "sealed", "opened", "decided"]
SittingState = Literal["planned", "open", "paused", "closed"]
SCALE_LOW, SCALE_HIGH, SCALE_STEP = 0.0, 10.0, 0.1
MINUTES_A_PIECE, MINUTES_A_SET = 2, 3  # what tasting and answering take, beside the rest
CONTROL = -1.0  # a level that no dose, batch or day has: that of sets with a cup known to differ, the positive control


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
class StudyPlan:
    """What the plan of every kind of study holds; a kind adds its own fields.

    `assessors` holds assessor ids; `sittings` are those before the first look; `alpha` is the sealed risk of a wrong
    claim. `contains` and `traces` are what everybody reads before tasting.
    """

    title: str
    question: str = ""
    recipe: str = ""
    batch: str = ""
    assessors: tuple[str, ...] = ()
    sittings: int = 2
    alpha: float = 0.05
    piece_g: float = 4.5
    rest_seconds: int = 240
    contains: str = ""
    traces: str = ""
    swallow: str = "swallow or spit, the same way each time"
    routine: str = "Sip warm water. Eat a piece of plain cracker. Sip again."

    @property
    def warned_of(self) -> str:
        """What is in the pieces beside chocolate and stands on every page, so that who tastes can decline."""
        return ""

    @property
    def hours_of_pulls(self) -> tuple[float, ...]:
        """When mass is taken from the conche, in hours after hour zero, where that is planned."""
        return ()

    @property
    def named_batches(self) -> tuple[str, ...]:
        """The names of the batches that the seal gives to the study, where it names several."""
        return ()

    def hours_in(self, batch: str, level: float) -> float | None:
        """The hours of a sample that is noted under `level`, None where it is of another batch than this."""
        return level


@dataclass(frozen=True, slots=True)
class CupsPlan(StudyPlan):
    """A study whose pieces are served one by one and scored on the lines of a ballot."""

    attributes: tuple[Attribute, ...] = ()
    warm_up: bool = True


@dataclass(frozen=True, slots=True)
class SetsPlan(StudyPlan):
    """A study whose pieces are served in sets of cups and answered by a choice; `method` is one of `methods.METHODS`,
    `note` the named taste it asks for. With `retaste` a set may be tasted again before its answer. `most_g_a_day` are
    the most grams of one person in a day, where the plan names a ceiling."""

    method: str = "triangle"
    note: str = ""
    sets_a_sitting: int = 2
    retaste: bool = True
    most_g_a_day: float | None = None

    @property
    def longest_wait(self) -> int:
        """Seconds after a piece at which it is noticed at the latest; 0 where the cups of a set are tasted together.
        Above 0 every piece of a set is eaten alone, and the level of a set is its seconds."""
        return 0

    def wait_of(self, level: float | None) -> int:
        """Seconds after a piece of a set of this level at which it is noticed."""
        return int(level or 0)

    @property
    def minutes_a_set(self) -> float:
        """What a set and the rest after it take of one person."""
        rests, waits = (2, 2 * self.longest_wait) if self.longest_wait else (1, 0)
        return MINUTES_A_SET + (rests * self.rest_seconds + waits) / 60


@dataclass(frozen=True, slots=True)
class Problem:
    """Something to mend in a plan before it can be sealed. `blocks` False is a caution only."""

    where: str
    sentence: str
    blocks: bool = True


P_co = TypeVar("P_co", bound=StudyPlan, covariant=True)


@dataclass(frozen=True, slots=True)
class KeptStudy:
    """A study as the store keeps it: its plan is a document, which its kind can read; `came` is when it was brought in
    from another store, None for one that began here."""

    id: str
    kind: str
    document: Mapping[str, Any]
    state: StudyState
    created_at: str
    look: int = 0
    seal: str | None = None
    sealed_at: str | None = None
    sealed_by: str | None = None
    example: bool = False
    came: str | None = None


@dataclass(frozen=True, slots=True)
class Study(Generic[P_co]):
    """A study with its plan, its state and, once sealed, the SHA-256 of its rule. `named` holds what the sealed
    document names beside the plan, such as the version of the rule."""

    id: str
    kind: str
    plan: P_co
    state: StudyState
    created_at: str
    look: int = 0
    seal: str | None = None
    sealed_at: str | None = None
    sealed_by: str | None = None
    example: bool = False
    came: str | None = None
    named: Mapping[str, Any] = field(default_factory=dict)


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


# ---- people ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Staff:
    """Somebody who runs studies. `person` ties staff and assessor to one human, so that no key holder tastes; `first`
    while they are signed in with a passphrase that somebody else gave them."""

    id: str
    name: str
    role: Role
    person: str | None = None
    first: bool = field(default=False, compare=False)


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
    """A personal code for one sitting; kept as a hash alone. The address is `/join/CODE`."""

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
    "nothing", "welcome", "waiting", "warm_up", "serving", "trial", "piece", "rest", "paused", "done", "stopped",
    "left", "elsewhere", "replaced",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """Where an assessor stands, with nothing that tells a sample: codes, texts and times only.

    `number` of `of` scored servings or sets; `ready_at` (UTC) is the end of a rest; `now` the server's time, so that a
    phone with a wrong clock still counts right. At kind "trial", `trial` is the set: its `cups` (codes in the order of
    tasting), the question to `ask`, how many cups to `pick`; with `tell_reference` the first cup is the reference and
    cannot be picked; `may_go_back` allows tasting again within the set, never changing a kept answer. In a sitting of
    sets `cups_a_set` (0 where cups are served one by one) and `botanical`, the plant in it, stand on every page: who
    tastes must be able to decline. At kind "piece", `code` is the piece number `piece` of the set, eaten alone and
    noticed `seconds` later, at `ready_at` once it was eaten; `one_by_one` says that pieces of this sitting are. A plan
    with a ceiling names it as `most_today`, in grams; `grams_ahead` are those still to come in this sitting. Another
    piece of a serving, under a new code, can be had where it `may_swap`, and was given where it is `swapped`.
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
    one_by_one: bool = False
    piece: int = 0
    seconds: int = 0
    may_swap: bool = False
    swapped: bool = False
    most_today: float | None = None
    grams_ahead: float = 0.0

    @property
    def at(self) -> str:
        """The step as one word: a phone that hears another one turns its page."""
        return f"{self.kind}-{self.number}"


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


@dataclass(frozen=True, slots=True)
class TrayCup:
    """One cup on a tray: seat, assessor and code."""

    seat: int
    pseudonym: str
    code: str


@dataclass(frozen=True, slots=True)
class Sample:
    """What is tasted under codes: the letter on its box, and its level (hours of conching, say) in the kind's unit."""

    id: str
    level: float
    letter: str


@dataclass(frozen=True, slots=True)
class Tray:
    """All cups served at one position (0 is the warm-up). Codes only: this is what the server of cups may see."""

    sitting: str
    position: int
    cups: tuple[TrayCup, ...]
    released_at: str | None = None
    released_by: str | None = None


@dataclass(frozen=True, slots=True)
class Check:
    """Something that is confirmed before a tray leaves: its code in the record, the words to tick on screen and on
    paper, and the refusal while it is open."""

    code: str
    ask: str
    paper: str
    refusal: str


SPARES = 1000  # what stands for the number of a tray where spares are listed; no sitting has so many trays


@dataclass(frozen=True, slots=True)
class FillRow:
    """What goes onto one place of a tray, for the preparer alone: (code, box letter) in the order of tasting. A spare
    has the position `SPARES` and no seat (0)."""

    position: int
    seat: int
    cups: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Quantity:
    """How much of one box to set aside: `cups`, spares included, in grams; `holds` says what is in it."""

    letter: str
    holds: str
    cups: int
    grams: float


@dataclass(frozen=True, slots=True)
class Seated:
    """One row of the watch page: how far an assessor is, with no score. `since` is the start of the present step;
    `saved` counts the servings that are behind, `missing` those of them that were not judged; `silent` minutes have
    passed since the phone was last heard, where that is long; `called` is the kind of a call that is still open."""

    pseudonym: str
    kind: PlaceKind
    saved: int
    of: int
    since: str | None = None
    ready_at: str | None = None
    waits_for_tray: int | None = None
    look: bool = False
    missing: int = 0
    silent: int = 0
    called: str = ""


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
class PullNote:
    """What somebody noted of a pull: `kind` is taken, lost, replaced (taken in place of a lost one),
    zero (hour zero), undone or zero undone. `actual_at` is the
    time on the workshop's clock, local ISO without a zone; `at` that of the note. `sitting` is the number of the one in
    which it was lost, None for all."""

    kind: str
    hours: float
    actual_at: str
    at: str
    by: str
    mass_g: float | None = None
    temperature_c: float | None = None
    words: str | None = None
    reason: str | None = None
    sitting: int | None = None


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
    """Who decided, and who ran the test: `account` is whose account it was given from, `by` its id; earlier versions
    let another name be typed."""

    name: str
    role: str
    at: str
    account: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Opening:
    """Who opened the key of a look, and whether from one account."""

    look: int
    name: str
    at: str
    alone: bool


@dataclass(frozen=True, slots=True)
class SealSlip:
    """What a seal prints: the hash of the rule and the head of the chain at that moment."""

    seal: str
    at: str
    by: str
    head: str
    events: int
    sentences: tuple[str, ...] = field(default=())
