"""Accounts of those who run studies: how they begin, sign in, change their passphrase and end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import timedelta
from typing import Any

from studyapp.errors import BadInput, NotAllowed, NotFound, StoreProblem, TooManyTries
from studyapp.records import Account, Role, Staff
from studyapp.services import names, passphrases
from studyapp.services.access import new_id, new_token, require, token_hash
from studyapp.services.standing import stamp
from studyapp.settings import settings
from studyapp.store import Store, clock, events, people, people_checks
from studyapp.words import _

MINE, ONE_ACCOUNT, ALL = 5, 20, 50  # wrong tries a minute: of one address or device, at one account, and in all
STAYS = timedelta(days=14)  # then somebody who forgot to sign out is signed out
KNOWN = timedelta(days=90)  # so long a browser that was signed in once is known


def _checked(name: str) -> str:
    name = names.clean(name)
    if not name or len(name) > 60:
        raise BadInput(_("Fix the name: write one of 1 to 60 letters."))
    return name


# ---- how an account begins and ends --------------------------------------------------------------------------------
def needs_first_leader(store: Store) -> bool:
    """True while nobody runs studies here."""
    with store.read() as tx:
        return people.staff_count(tx) == 0


def first_leader(store: Store, name: str, passphrase: str) -> Staff:
    """Make the first panel leader of an empty store."""
    member = Staff(new_id(), _checked(name), "leader")
    with store.read() as tx:
        _refuse_second(tx)  # before the costly hash, which anybody could ask for otherwise
    secret = passphrases.secret_of(passphrase)
    with store.write() as tx:
        _refuse_second(tx)
        _refuse_taken(tx, member.name)
        at = people.add_staff(tx, member, secret)
        events.append(tx, "staff added", {"staff": member.id, "role": member.role, "at": at, **_told(member, secret)})
    return member


def _refuse_second(tx: Any) -> None:
    if people.staff_count(tx):
        raise NotAllowed(_("Not done: this store has a panel leader already. Sign in."))


def add_staff(store: Store, by: Staff | None, name: str, role: Role, passphrase: str, tastes: str = "") -> Staff:
    """Add a panel leader or a preparer with a first passphrase; `tastes` is the id of the assessor that they are."""
    by, name = require(by, "leader"), _checked(name)
    if role not in ("leader", "preparer"):
        raise BadInput(_("Fix the role: take leader or preparer."))
    secret = passphrases.secret_of(passphrase)
    with store.write() as tx:
        _refuse_taken(tx, name)
        member = Staff(new_id(), name, role, _person_of(tx, tastes))
        at = people.add_staff(tx, member, secret)
        told = {"role": role, "by": by.id, "at": at, **_told(member, secret)}
        events.append(tx, "staff added", {"staff": member.id, **told})
    return member


def _told(member: Staff, secret: str) -> dict[str, Any]:
    """What the chain keeps of a member beside the role: not the name, but what proves it, and whom they are."""
    name = events.salted(member.id, member.name)
    return {"name": name, "person": events.tied(member.id, member.person), **_secret(member.id, secret)}


def _secret(id_: str, secret: str) -> dict[str, str]:
    """What the chain keeps of a passphrase: a hash of its hash, so that nobody can put a passphrase of their own into
    the file unseen; it helps nobody to guess one."""
    return {"secret": events.salted(id_, secret)}


def _refuse_taken(tx: Any, name: str) -> None:
    """A name stands for one member for ever, for records are signed with it; one that only looks like it, as well."""
    found = next((one for one in people.everybody(tx) if names.alike(one.name) == names.alike(name)), None)
    if found is None:
        return
    if any(account.ended_at for account in people.accounts(tx, _since(), found.id)):
        sentence = _("Fix the name: the account of {name} has ended. Bring it back, or take another name.")
    else:
        sentence = _("Fix the name: somebody here is called {name} already.")
    raise BadInput(sentence.format(name=found.name))


def _person_of(tx: Any, assessor_id: str) -> str | None:
    """The human behind an assessor."""
    if not assessor_id:
        return None
    assessor = people.assessor(tx, assessor_id)
    if assessor is None:
        raise NotFound(_("Not done: nobody is kept under that pseudonym."))
    return assessor.person


def give_passphrase(store: Store, by: Staff | None, staff_id: str, passphrase: str) -> None:
    """A first passphrase once more, for somebody who forgot theirs; an account that had ended lives again.

    Raises:
        NotAllowed: this is no panel leader (any more), or it is their own account, which asks for the old passphrase.
        NotFound: there is no such account.
        BadInput: the passphrase is too short.
    """
    by, secret = require(by, "leader"), passphrases.secret_of(passphrase)
    if staff_id == by.id:
        raise NotAllowed(_("Not done: your own passphrase is changed on the page Account, where the old one is asked."))
    with store.write() as tx:
        account = _account_for(tx, by, staff_id)
        people.set_secret(tx, staff_id, secret)
        what = "passphrase given" if account.ended_at is None else "account brought back"
        events.append(tx, what, {"staff": staff_id, "by": by.id, **_secret(staff_id, secret)})


def end_account(store: Store, by: Staff | None, staff_id: str) -> None:
    """Nobody signs in with this account from now on, and every browser that did is signed out; what its member did
    stays in the record.

    Raises:
        NotAllowed: this is no panel leader (any more), or it is their own account: so one leader always stays.
        NotFound: there is no such account.
    """
    by = require(by, "leader")
    if staff_id == by.id:
        raise NotAllowed(
            _("Not done: nobody ends their own account, so that a panel leader always stays. Ask another panel leader.")
        )
    with store.write() as tx:
        if _account_for(tx, by, staff_id).ended_at is not None:
            raise NotAllowed(_("Not done: this account has ended already."))
        at = people.end_staff(tx, staff_id)
        events.append(tx, "account ended", {"staff": staff_id, "by": by.id, "at": at})


def _account_for(tx: Any, by: Staff, staff_id: str) -> Account:
    """The account that a leader changes. The leader's own is looked at under the same lock, for of two who end each
    other at one moment the later must not be heard."""
    if people.secret(tx, by.id) is None:
        raise NotAllowed(_("Not done: your account has ended. Ask the panel leader."))
    found = people.accounts(tx, _since(), staff_id)
    if not found:
        raise NotFound(_("Not done: there is no such account. Open the page Panel again."))
    return found[0]


def end_again(tx: Any, ids: Sequence[str]) -> tuple[Staff, ...]:
    """Within a transaction, end what a restored backup believes to live; one leader always stays, or whoever came
    next could make themselves the first. Returns who stayed."""
    stayed = []
    for id_ in ids:
        alive = [one.member for one in people.accounts(tx, _since()) if one.ended_at is None]
        others = [member for member in alive if member.id != id_]
        if len(others) == len(alive):
            continue
        if any(member.role == "leader" for member in others):
            events.append(tx, "account ended", {"staff": id_, "at": people.end_staff(tx, id_)})
        else:
            stayed += [member for member in alive if member.id == id_]
    return tuple(stayed)


# ---- who is there --------------------------------------------------------------------------------------------------
def _since() -> str:
    """Sign-ins older than this hold no more."""
    return _ago(STAYS)


def _ago(time: timedelta) -> str:
    return stamp(clock.now() - time)


def everybody(store: Store, by: Staff) -> tuple[Account, ...]:
    """Every account by name, those that ended too."""
    require(by, "leader")
    with store.read() as tx:
        return people.accounts(tx, _since())


def leads_alone(store: Store, by: Staff) -> bool:
    """Whether no other account could help this leader."""
    alive = [account.member for account in everybody(store, by) if account.ended_at is None]
    return [member.id for member in alive if member.role == "leader"] == [by.id]


def own(store: Store, by: Staff) -> Account:
    """The account of whoever asks."""
    with store.read() as tx:
        return people.accounts(tx, _since(), by.id)[0]


def still(store: Store, by: Staff) -> Staff:
    """The member, if the account lives. A tap in an open dialog does not draw its page again, so it asks here."""
    with store.read() as tx:
        if people.secret(tx, by.id) is None:
            raise NotAllowed(_("Not done: your account has ended. Ask the panel leader."))
    return by


# ---- signing in ----------------------------------------------------------------------------------------------------
_Door = tuple[str, str, int]  # what is tried, who is counted, how often a minute


def refuse_flood(store: Store, kind: str, address: str) -> None:
    """Slow down guessing: five wrong tries a minute an address, fifty in all."""
    at = clock.seconds()
    with store.read() as tx:
        _refuse_many(people.tries(tx, kind, address, at), MINE)


def _refuse_many(tries: tuple[int, int], most: int) -> None:
    if tries[0] >= most or tries[1] >= ALL:
        raise TooManyTries(_("Not done: too many wrong tries. Wait a minute, then try again."))


def count_wrong(store: Store, kind: str, address: str) -> None:
    """Count one wrong try."""
    with store.write() as tx:
        people.note_try(tx, kind, address, clock.seconds())
        events.append(tx, "refused", {"what": kind})


def sign_in(store: Store, name: str, passphrase: str, address: str, device: str | None = None) -> str:
    """A new token for the member with this name and passphrase.

    `device` is a token that this browser was given earlier, worthless or not: who guesses from elsewhere cannot shut
    out a browser that this account has signed in with. A hash of an earlier cost is made anew.
    """
    with store.read() as tx:
        member = people.staff_by_name(tx, name.strip()) or people.staff_by_name(tx, names.spelled(name))
        known = member is not None and device and people.had_token(tx, member.id, token_hash(device), _ago(KNOWN))
    doors: tuple[_Door, ...] = (("sign-in", address, MINE), ("account", token_hash(names.alike(name)), ONE_ACCOUNT))
    if known and device:
        doors = (("device", token_hash(device), MINE),)
    wrong = _("Not done: name and passphrase do not belong together.")
    with _counted(store, doors) as right:
        member, kept, fresh = _proven(store, member, passphrase, wrong)
        with store.write() as tx:
            if people.secret(tx, member.id) != kept:
                raise NotAllowed(wrong)
            right(tx)
            if fresh == kept:
                return _token(tx, member)
            people.renew_secret(tx, member.id, fresh)
            return _token(tx, member, **_secret(member.id, fresh))


def change_passphrase(store: Store, token: str | None, old: str, new: str, address: str) -> str:
    """Another passphrase for whoever holds this token. Every sign-in of the account ends; the token that comes back is
    the only one that holds.

    Raises:
        NotAllowed: the token is worthless, or the old passphrase is another one.
        TooManyTries: too many wrong passphrases in the last minute, here or while signing in.
        BadInput: the new passphrase is too short.
    """
    member = staff_of(store, token)
    if member is None:
        raise NotAllowed(_("Not done: you are signed out. Sign in again; what you did before is kept."))
    wrong = _("Not done: the old passphrase is another one.")
    if new == old:
        raise BadInput(_("Fix the passphrase: take another one than before."))
    with _counted(store, (("sign-in", address, MINE),)) as right:
        member, kept, _fresh = _proven(store, member, old, wrong)
        secret = passphrases.secret_of(new)
        with store.write() as tx:
            if people.secret(tx, member.id) != kept:
                raise NotAllowed(wrong)
            right(tx)
            people.set_secret(tx, member.id, secret)
            events.append(tx, "passphrase changed", {"staff": member.id, **_secret(member.id, secret)})
            return _token(tx, member)


def _proven(store: Store, member: Staff | None, passphrase: str, wrong: str) -> tuple[Staff, str, str]:
    """The member, what is kept of the passphrase if this is it, and what to keep from now on. It takes as long for
    nobody as for somebody.

    Raises:
        NotAllowed: it is another one; the sentence is `wrong`.
    """
    with store.read() as tx:
        kept = people.secret(tx, member.id) if member is not None else None
    fresh = passphrases.fitting(passphrase, kept)
    if member is None or kept is None or fresh is None:
        with store.write() as tx:
            events.append(tx, "refused", {"what": "sign-in"})
        raise NotAllowed(wrong)
    return member, kept, fresh


@contextmanager
def _counted(store: Store, doors: Sequence[_Door]) -> Iterator[Callable[[Any], None]]:
    """Count a try before the passphrase is looked at: of many at one moment, whichever process hears them, none is
    heard uncounted. Gives what takes the count back, for the transaction that lets in; a failure of ours does so too.

    Raises:
        TooManyTries: there were too many in the last minute.
    """
    with store.write() as tx:
        at = clock.seconds()
        for kind, who, most in doors:
            _refuse_many(people.tries(tx, kind, who, at), most)
        for kind, who, _most in doors:
            people.note_try(tx, kind, who, at)

    def right(tx: Any) -> None:
        for kind, who, _most in doors:
            people.forget_try(tx, kind, who, at)

    try:
        yield right
    except NotAllowed:
        raise
    except BaseException:
        with suppress(StoreProblem), store.write() as tx:  # else it is forgotten after a minute
            right(tx)
        raise


def _token(tx: Any, member: Staff, **more: str) -> str:
    token = new_token()
    people.add_token(tx, token_hash(token), staff=member.id)
    mark = people_checks.mark(member.id, token_hash(token))
    events.append(tx, "signed in", {"staff": member.id, "token": mark, **more})
    return token


def enter_demo(store: Store, role: Role) -> str:
    """A token for the invented workshop; refused anywhere else."""
    if not settings().demo:
        raise NotAllowed(_("Not done: only the invented workshop can be entered without a passphrase."))
    with store.read() as tx:
        member = people.staff_by_role(tx, role)
    if member is None:
        raise BadInput(_("Fix the role: take leader or preparer."))
    with store.write() as tx:
        return _token(tx, member)


def staff_of(store: Store, token: str | None) -> Staff | None:
    """Who this token belongs to, None when it is worthless."""
    if not token:
        return None
    with store.read() as tx:
        found = people.staff_by_token(tx, token_hash(token), _since())
    return replace(found, first=False) if found and settings().demo else found  # nobody types one there


def sign_out(store: Store, token: str | None) -> None:
    """End a token."""
    if token:
        with store.write() as tx:
            member = people.staff_by_token(tx, token_hash(token))
            people.end_token(tx, token_hash(token))
            ended = {"token": people_checks.mark(member.id, token_hash(token))} if member else {}
            events.append(tx, "signed out", ended)
