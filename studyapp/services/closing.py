"""After the last piece: open the key once, and sign the verdict by two people; the same for every kind of study."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from studyapp import registry
from studyapp.errors import BadInput, NotAllowed
from studyapp.records import FillRow, Opening, Signature, Sitting, Staff, Study
from studyapp.services import calling, names, preparing, watching
from studyapp.services.access import require, study_or_refuse
from studyapp.store import Store, events, openings, people, servings, sittings, studies
from studyapp.words import _, ngettext

LONGEST = 200
SIGNATURES = 2  # who ran the test, and who decides


# ---- the key ---------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class KeyHolders:
    """Who must open a key: `alone` where nobody else leads; else `asked` names the leader who asked for it, None while
    nobody did, and `mine` says that it was this one."""

    alone: bool
    asked: str | None = None
    mine: bool = False


def who_opens(store: Store, by: Staff, study_id: str) -> KeyHolders:
    """Whether this leader opens the key alone, asks for it, or opens it together with the one who asked."""
    require(by, "leader")
    with store.read() as tx:
        return _who_opens(tx, by, study_or_refuse(tx, study_id))


def _who_opens(tx: Any, by: Staff, study: Study[Any]) -> KeyHolders:
    leaders = {member.id: member for member in people.leaders(tx)}
    if by.id not in leaders:
        raise NotAllowed(_("Not done: your account has ended. Ask the panel leader."))
    if len(leaders) == 1:
        return KeyHolders(alone=True)
    asked = leaders.get(openings.asked_by(tx, study.id, study.look) or "")
    return KeyHolders(False, asked.name if asked else None, asked is not None and asked.id == by.id)


def ask_for_key(store: Store, by: Staff, study_id: str) -> None:
    """Ask for the key of the present look; another panel leader then opens it from an account of their own."""
    require(by, "leader")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        _refuse_unopenable(study)
        if _who_opens(tx, by, study).asked is None:
            openings.ask(tx, study_id, study.look, by.id)


def close_cups(tx: Any, by: Staff, study: Study[Any]) -> None:
    """Close the sittings of the look, where pieces are served one by one. Raises NotAllowed while a serving is open."""
    for sitting in sittings.of_study(tx, study.id, study.look):
        if left := len(servings.open_servings(tx, sitting.id)):
            raise NotAllowed(
                ngettext(
                    "Not done: {n} serving of {label} is still open. Close it as missing first, with a reason.",
                    "Not done: {n} servings of {label} are still open. Close them as missing first, with a reason.",
                    left,
                ).format(n=left, label=sitting.label)
            )
        if sitting.state != "closed":
            close_sitting(tx, by, sitting)


def close_sitting(tx: Any, by: Staff, sitting: Sitting) -> None:
    """One sitting whose pieces were all served: its calls become departures, its links end."""
    at = events.now()
    calling.put_down(tx, by, sitting)
    sittings.set_state(tx, sitting.id, "closed", at)
    sittings.end_codes(tx, sitting.id)
    events.append(tx, "sitting closed", {"sitting": sitting.id, "missing": 0, "at": at}, sitting.study)


def open_key(store: Store, by: Staff, study_id: str, reason: str = "") -> None:
    """Open the key of the present look, once: from a second account where the store has two panel leaders, after one of
    them asked for it; by the only leader alone, who says why nobody else was there.

    Raises:
        NotAllowed: not sealed, opened before, something is still to be tasted, or nobody else asked for the key.
        BadInput: the reason is missing or too long.
    """
    require(by, "leader")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        _refuse_unopenable(study)
        who = _who_opens(tx, by, study)
        if who.alone:
            _note_alone(tx, by, study, reason.strip())
        elif who.asked is None or who.mine:
            raise NotAllowed(_two_open())
        registry.deciding(study.kind).close_up(tx, by, study)
        first = None if who.alone else people.member(tx, openings.asked_by(tx, study_id, study.look) or "")
        openings.add(tx, study_id, study.look, by, first)
        for opener in (by, *([first] if first else [])):
            openings.note_view(tx, study_id, opener.id)
        for sitting in sittings.of_study(tx, study_id):
            people.end_tokens_of_sitting(tx, sitting.id)
        studies.set_state(tx, study_id, "opened")


def read_key(store: Store, by: Staff, study_id: str) -> tuple[list[tuple[str, tuple[FillRow, ...]]], Mapping[str, str]]:
    """What every cup of an opened study held: (sitting, its rows) in order, and what each box held by its letter.

    Raises:
        NotAllowed: the key is not open, or the member is no leader.
    """
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id)
        if study.state not in ("opened", "decided"):
            raise NotAllowed(_("Not done: the key is not open yet."))
        rows = [(one.label, preparing.filled(tx, study_id, one.id)) for one in sittings.of_study(tx, study_id)]
        return rows, registry.setting_out(study.kind).boxes(tx, study_id, study.plan)


def _two_open() -> str:
    return _(
        "Not opened: two panel leaders open a key, each from an account of their own. Ask for the key; another leader "
        "then opens it on this page."
    )


def _note_alone(tx: Any, by: Staff, study: Study[Any], reason: str) -> None:
    """A key that one person opens is a departure, and stands among them with its reason."""
    if not reason or len(reason) > LONGEST:
        sentence = _("Not opened: write why nobody opens the key together with you, in up to {n} letters.")
        raise BadInput(sentence.format(n=LONGEST))
    told = _("The key was opened by one person: {reason}").format(reason=reason)
    studies.add_deviation(tx, study.id, told, watching.known_now(tx, study), by.id)


def _refuse_unopenable(study: Study[Any]) -> None:
    """The key opens once a look, and only under a sealed rule."""
    if study.state == "draft":
        raise NotAllowed(_("Not done: the rule is not sealed yet. Seal it on the page of its plan first."))
    if study.state in ("opened", "decided"):
        raise NotAllowed(_("Not done: the key was opened before. Read the verdict from the list of studies."))


def note_reader(store: Store, by: Staff, study_id: str) -> None:
    """Keep, once, that a leader reads what an opened key shows."""
    require(by, "leader")
    with store.read() as tx:
        known = not openings.of_study(tx, study_id) or openings.has_seen(tx, study_id, by.id)
    if not known:
        with store.write() as tx:
            openings.note_view(tx, study_id, by.id)


def opened_keys(store: Store, by: Staff, study_id: str) -> tuple[Opening, ...]:
    """Every opening of the key."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return openings.of_study(tx, study_id)


def opened_look(tx: Any, study: Study[Any]) -> int:
    """The last look whose key is open. Raises NotAllowed before any is."""
    opened = openings.of_study(tx, study.id)
    if not opened:
        raise NotAllowed(_("Not done: the key is not open yet. What was tasted stays hidden, from you as well."))
    return opened[-1].look


# ---- signatures ------------------------------------------------------------------------------------------------------
def sign(store: Store, by: Staff, study_id: str, role: str) -> None:
    """Sign the verdict of the last opened look; two different accounts: who ran the test, and who decides.

    With the first signature the verdict itself goes into the record, as the document that was signed.

    Raises:
        BadInput: what somebody signs as is missing or too long.
        NotAllowed: the key is not open, or this account has signed.
    """
    require(by, "leader")
    role = names.clean(role)
    if not role or len(role) > LONGEST:
        raise BadInput(_("Not signed: say what you sign as, in up to {n} letters.").format(n=LONGEST))
    with store.read() as tx:
        kind = study_or_refuse(tx, study_id).kind
    document = registry.deciding(kind).document(store, by, study_id)
    with store.write() as tx:
        look = opened_look(tx, study_or_refuse(tx, study_id))
        keep_signature(tx, study_id, look, role, by, document)


def keep_signature(tx: Any, study: str, look: int, role: str, by: Staff, document: Mapping[str, Any]) -> None:
    """Keep one signature, with the first one the verdict itself; the second decides."""
    signed = studies.signatures(tx, study, look)
    if any(signature.by == by.id for signature in signed):
        raise NotAllowed(
            _("Not done: your account has signed. Somebody else decides, from an account of their own: see Panel.")
        )
    if studies.decision_document(tx, study, look) is None:
        studies.keep_decision(tx, study, look, document)
    studies.add_signature(tx, study, look, by.name, role, by.id)
    if len(signed) + 1 >= SIGNATURES:
        studies.set_state(tx, study, "decided")


def one_person_sentences(opened: Sequence[Opening], signed: Sequence[Signature]) -> tuple[str, ...]:
    """What only one person stands for, as verdict, report and package say it."""
    said = []
    alone = [each for each in opened if each.alone]
    if len(opened) > 1:
        told = _("Opening {look} of the key was made by one person, {name}.")
    else:
        told = _("The key was opened by one person, {name}.")
    said += [told.format(look=each.look, name=each.name) for each in alone]
    if signed and len({each.by for each in signed}) < SIGNATURES:
        said.append(
            _("Second signature missing.")
            if len(signed) < SIGNATURES
            else _("Second signature missing: both were given from the account of {name}.").format(
                name=signed[0].account
            )
        )
    return tuple(said)


def kept_verdict(store: Store, by: Staff, study_id: str, look: int) -> dict[str, Any] | None:
    """The verdict as it was signed, in the form that the commands print; None while nobody has signed."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return studies.decision_document(tx, study_id, look)


def signatures(store: Store, by: Staff, study_id: str) -> tuple[Signature, ...]:
    """Signatures in order."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return studies.signatures(tx, study_id)
