"""The kinds of study: one line each, and what a kind must have.

Nothing outside a kind imports one. Whoever needs a part asks for it here, by the name of the kind that the store keeps;
the part is imported when it is first asked for, so a phone loads a plan and neither statistics nor pages. A new kind is
a folder in `kinds/` and its line in `KINDS`.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol, cast

from studyapp.errors import NotFound
from studyapp.records import Check, KeptStudy, Problem, Staff, Study, StudyPlan
from studyapp.words import _

if TYPE_CHECKING:
    from collections.abc import Callable

    from studyapp.store import Store

# The name in the store, and the folder. The first one is what a visitor of the invented workshop sees first.
KINDS = {
    "hours": "studyapp.kinds.hours",
    "aroma": "studyapp.kinds.aroma",
    "comparison": "studyapp.kinds.comparison",
}


# ---- what a kind is made of ------------------------------------------------------------------------------------------
class PlanPart(Protocol):
    """`plan`: the dataclass that is sealed. Plain Python: a phone's page loads this part alone."""

    @property
    def Plan(self) -> type[StudyPlan]:  # noqa: N802  # a class under the same name in every kind
        """Its class."""

    def new(self, title: str, newest: Any = None) -> StudyPlan:
        """An empty plan; `newest` is that of the newest study of the kind, for what a workshop always does alike."""

    def again(self, plan: Any) -> StudyPlan:
        """The plan for another run of the same study."""

    def from_document(self, document: Mapping[str, Any]) -> StudyPlan:
        """The plan of a kept document, by this version of the app or an earlier one; only fields of the plan are in
        it, not what a seal names beside them."""


class RulePart(Protocol):
    """`rule`: what must hold before the seal, and how the rule reads."""

    def problems(self, plan: Any) -> Sequence[Problem]:
        """What is to mend (blocks) or to think about, beside its field."""

    def sentences(self, plan: Any, named: Mapping[str, Any] | None = None) -> tuple[str, ...]:
        """The rule in words; `named` is what a seal names beside the plan, None what it would name today."""

    def named(self) -> Mapping[str, int]:
        """What a seal names beside the plan, such as the version of a rule."""

    def checks(self, plan: Any) -> tuple[Check, ...]:
        """What is confirmed before a tray leaves, beyond what every kind asks."""

    def sitting_at(self, plan: Any, number: int) -> datetime | None:
        """When a sitting is planned, by the clock on the wall; None where the plan names no day."""


class SettingOutPart(Protocol):
    """`setting_out`: samples, seats, sittings, orders and codes."""

    def set_out(self, tx: Any, study: str, plan: Any) -> None:
        """What a seal puts on the table."""

    def boxes(self, tx: Any, study: str, plan: Any) -> Mapping[str, str]:
        """What every box holds, in words, by its letter."""

    def note_taken(self, store: Store, by: Staff, study: str, told: Mapping[str, Any]) -> None:
        """Keep what a phone tells of a sample that was just taken. Raises StudyError, also where none is taken so."""


class DecidingPart(Protocol):
    """`deciding`: from what was tasted to a verdict."""

    def close_up(self, tx: Any, by: Staff, study: Study[Any]) -> None:
        """Close what is left before the key opens. Raises NotAllowed while something sealed is still open."""

    def document(self, store: Store, by: Staff, study: str) -> Mapping[str, Any]:
        """The verdict of the last opened look as plain values, to be signed."""

    def refuse_foreign(self, plan: Mapping[str, Any], verdicts: Sequence[Mapping[str, Any]]) -> None:
        """Raises BadInput for a sealed plan or a signed verdict from elsewhere that this app cannot read."""


class FindingsPart(Protocol):
    """`findings`: a result in sentences."""

    def draft_line(self, plan: Any) -> str:
        """How far a draft is, in one line."""

    def kept_line(self, plan: Any, document: Mapping[str, Any]) -> str:
        """A signed verdict in one line; empty for an empty document."""


class ReportPart(Protocol):
    """`report`: what is printed of an opened study, and the calendar of a planned one."""

    def report(self, store: Store, by: Staff, study: Study[Any], printed_at: str) -> bytes:
        """The report as a PDF. Raises NotAllowed before the key is open."""

    def calendar(self, store: Store, by: Staff, study: Study[Any]) -> bytes:
        """What is to be done when, as an iCalendar file. Raises StudyError where nothing can be told yet."""

    def papers(self) -> Mapping[str, Callable[[Store, Staff, Study[Any], str], bytes]]:
        """Papers that only this kind has, by name: called like `report`."""


class Opening(NamedTuple):
    """What the page says before a key opens: in one sentence, and what changes."""

    lede: str
    changes: tuple[str, ...]


class OwnPage(NamedTuple):
    """A page that only this kind has: its title, the words of the button that leads there, what draws it, and who may
    open it."""

    title: str
    act: str
    render: Callable[[], None]
    roles: tuple[str, ...] = ("leader", "newcomer")


class Kitchen(NamedTuple):
    """What the page of the kitchen says: how to put a tray's cups down, and what the fill list gives away."""

    putting_down: str
    gives_away: str


class PagesPart(Protocol):
    """`pages`: its part of every screen; the only part that knows the screen."""

    def asks(self) -> str:
        """What a study of this kind asks, for the list to choose from."""

    def own_pages(self) -> Mapping[str, OwnPage]:
        """Pages of its own, by name."""

    def fields(self, by: Staff, study: Study[Any]) -> tuple[Any, Sequence[Problem]]:
        """Draw the fields of a draft and keep what was typed; the plan as it stands, and what is typed and cannot be
        read."""

    def chances(self, by: Staff, plan: Any, problems: Sequence[Problem]) -> None:
        """Draw what the plan can show."""

    def caution(self) -> str:
        """What the seal does not say; empty where nothing need be said."""

    def beside_rule(self, plan: Any) -> Sequence[str]:
        """What stands beside the rule of a sealed study."""

    def sealed(self, by: Staff, study: Study[Any]) -> None:
        """Draw what belongs to a sealed study below its rule."""

    def kitchen(self, plan: Any) -> Kitchen:
        """What the page of the kitchen says."""

    def hidden(self, plan: Any) -> str:
        """What nobody sees while the key is closed."""

    def reached_its_end(self, by: Staff, study: Study[Any], over: bool) -> bool:
        """Whether the key of a sealed study may be asked for; `over` says that the sitting looked at is closed. Draws
        where a plan stands that may end early."""

    def opening(self, plan: Any) -> Opening:
        """What the page says before the key opens."""

    def still_open(self, by: Staff, study: Study[Any], left: int) -> str:
        """What must be done before the key opens, `left` steps being unfinished; empty when it may."""

    def closing_cost(self, by: Staff, study: Study[Any], gaps: Mapping[int, int], number: int, left: int) -> None:
        """Draw what closing a sitting early costs: `left` of its servings are open, `gaps` are those that stay missing
        anyway, by the number of the sitting; nothing where no such chance can be reckoned. Holds nobody up."""

    def decide(self, by: Staff, study: Study[Any]) -> None:
        """Draw the verdict of an opened study."""


class Command(NamedTuple):
    """A subcommand of a kind: where it lives ("module:function"), and the line that the help shows."""

    place: str
    help: str


class CommandsPart(Protocol):
    """`commands`: what the command line can do with files of this kind."""

    def commands(self) -> Mapping[str, Command]:
        """Subcommands of `studyapp`, by name."""

    def plans(self) -> Mapping[str, Command]:
        """Subcommands of `studyapp plan`, by name."""


# ---- where to ask for a part -----------------------------------------------------------------------------------------
def _part(kind: str, name: str) -> Any:
    if kind not in KINDS:
        raise NotFound(_("Not done: this app does not know a study of the kind {kind}. Update it.").format(kind=kind))
    return importlib.import_module(f"{KINDS[kind]}.{name}")


def plan(kind: str) -> PlanPart:
    """The plan of a kind. Raises NotFound, as every getter here, for a kind that this version does not know."""
    return cast(PlanPart, _part(kind, "plan"))


def rule(kind: str) -> RulePart:
    """The rule of a kind."""
    return cast(RulePart, _part(kind, "rule"))


def setting_out(kind: str) -> SettingOutPart:
    """What a kind puts on the table."""
    return cast(SettingOutPart, _part(kind, "setting_out"))


def deciding(kind: str) -> DecidingPart:
    """How a kind decides."""
    return cast(DecidingPart, _part(kind, "deciding"))


def findings(kind: str) -> FindingsPart:
    """The sentences of a kind."""
    return cast(FindingsPart, _part(kind, "findings"))


def report(kind: str) -> ReportPart:
    """What is printed of a kind."""
    return cast(ReportPart, _part(kind, "report"))


def pages(kind: str) -> PagesPart:
    """The screens of a kind."""
    return cast(PagesPart, _part(kind, "pages"))


def commands(kind: str) -> CommandsPart:
    """The commands of a kind."""
    return cast(CommandsPart, _part(kind, "commands"))


# ---- a study and its document ----------------------------------------------------------------------------------------
def study_of(kept: KeptStudy) -> Study[Any]:
    """A kept study with the plan of its kind. Raises NotFound for a kind that this version does not know."""
    part = plan(kept.kind)
    own = {field.name for field in fields(part.Plan)}
    read = part.from_document({name: value for name, value in kept.document.items() if name in own})
    named = {name: value for name, value in kept.document.items() if name not in own}
    rest = (kept.created_at, kept.look, kept.seal, kept.sealed_at, kept.sealed_by, kept.example, kept.came)
    return Study(kept.id, kept.kind, read, kept.state, *rest, named=named)
