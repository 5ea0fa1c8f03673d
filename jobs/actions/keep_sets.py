"""Sets for jobs: keep what is proposed, choose one by hand, leave it to the plan again, undo the last change."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from inventory.models import Branch, Person, SetState
from inventory.models.choices import Fitness
from jobs.actions.forecast import seen_now
from jobs.actions.reservation import ReservationRefused
from jobs.models import Job, Reservation
from jobs.numerics.reserve import MOST_CHANGES, Consequence, consequence
from jobs.reserving import Proposal, Wanted, digest_of, propose

# A change can be taken back so long (our assumption).
UNDO_FOR = timedelta(hours=24)
_TRIES = 3  # so often it is worked out again when somebody writes meanwhile


@dataclass(frozen=True)
class Kept:
    """How many reservations were made and how many ended."""

    made: int
    ended: int


@dataclass(frozen=True)
class ByHand:
    """A set put on a load by hand, and what follows from it. rows: what keeping it leaves open of these loads."""

    proposal: Proposal
    key: UUID
    set_id: UUID
    consequence: Consequence
    rows: tuple[Wanted, ...]

    @property
    def digest(self) -> str:
        """Its short name: what was shown is what is kept."""
        return digest_of(self.rows)


@dataclass(frozen=True)
class LastChange:
    """The last time somebody changed which sets are meant: when, who, and how many were made."""

    at: datetime
    by: str
    made: int


def _stale() -> ReservationRefused:
    return ReservationRefused(
        _("Plans, sets or reservations have changed since this was shown."),
        _("Nothing was kept. Look at it as it is now, and keep that."),
    )


def keep_plan(person: Person, branch: Branch, seen: str, *, now: datetime) -> Kept:
    """Mean the proposed sets for all loads of the weeks ahead, and let go of what the proposal has no use for.

    seen: the digest of the proposal that was looked at; the very same one is kept, or none. What people chose
    themselves stays. Kept twice it changes nothing.
    Raises ReservationRefused where plans, sets or reservations have changed since.
    """
    for _attempt in range(_TRIES):
        state = _state(branch)
        proposal = propose(branch, now=now)
        rows, loads = proposal.wanted(), list(proposal.loads)
        if digest_of(rows) != seen:
            # The press that comes twice finds what it kept.
            if digest_of(_open_rows(proposal, loads)) == seen:
                return Kept(0, 0)
            raise _stale()
        with transaction.atomic():
            _lock(branch, proposal, loads)
            if _state(branch) == state:
                return _write(person, proposal, loads, rows, now)
    raise _stale()


def by_hand(proposal: Proposal, key: UUID, set_id: UUID, *, in_place_of: UUID | None = None) -> ByHand:
    """What happens when a person puts a set on a load; writes nothing.

    in_place_of: which of two sets goes. Other loads for which sets are meant are told too where they get others.
    Raises ReservationRefused for a load that the plans have no more, a set that is none of its type or cannot work.
    """
    if key not in proposal.loads:
        raise ReservationRefused(_("The plans have that step no more."), _("Look at what they ask now."))
    try:
        found = consequence(proposal.plan, key, set_id, in_place_of=in_place_of, most_changes=MOST_CHANGES)
    except ValueError:
        raise ReservationRefused(_("That set is no usable one of the step's type."), _("Choose another one.")) from None
    load = proposal.loads[key]
    own = {row.tool_set_id for row in load.rows if row.locked} | {set_id}
    sets = tuple(seat for seat in found.seats if isinstance(seat, UUID))
    rows = proposal.rows_of(key, sets, frozenset(own & set(sets)))
    for change in found.changes:
        other = change.load_id
        if isinstance(other, UUID) and proposal.loads[other].rows:
            rows += proposal.rows_of(other, tuple(seat for seat in change.after if isinstance(seat, UUID)))
    return ByHand(proposal, key, set_id, found, tuple(rows))


def lock_choice(
    person: Person,
    branch: Branch,
    key: UUID,
    set_id: UUID,
    seen: str,
    *,
    now: datetime,
    in_place_of: UUID | None = None,
) -> Kept:
    """Mean a set for a load as a person's own choice, which no plan moves, with what follows from it.

    seen: the digest of what was shown (``by_hand``). Kept twice it changes nothing.
    Raises ReservationRefused as ``by_hand`` and ``keep_plan``.
    """
    for _attempt in range(_TRIES):
        state = _state(branch)
        asked = by_hand(propose(branch, now=now), key, set_id, in_place_of=in_place_of)
        loads = [key, *(c.load_id for c in asked.consequence.changes if isinstance(c.load_id, UUID))]
        loads = [one for one in loads if one == key or asked.proposal.loads[one].rows]
        if asked.digest != seen:
            mine = _open_rows(asked.proposal, [key])
            if any(row.set_id == set_id and row.locked for row in mine):
                return Kept(0, 0)  # the press that comes twice
            raise _stale()
        with transaction.atomic():
            _lock(branch, asked.proposal, loads)
            if _state(branch) == state:
                return _write(person, asked.proposal, loads, asked.rows, now)
    raise _stale()


def free_choice(branch: Branch, step_keys: Iterable[UUID]) -> int:
    """Leave steps to the plan again: what is meant for them stays so until a plan has something better; how many."""
    with transaction.atomic():
        rows = Reservation.objects.filter(
            job__branch=branch, step_key__in=list(step_keys), locked=True, ended_at__isnull=True
        )
        return rows.update(locked=False)


def last_change(branch: Branch, now: datetime) -> LastChange | None:
    """The last change of what sets are meant for, while it can be taken back; two queries."""
    rows = Reservation.objects.filter(job__branch=branch)
    last = rows.order_by("-made_at").values_list("made_at", "made_by__name").first()
    if last is None or now - last[0] > UNDO_FOR:
        return None
    at, by = last
    still = rows.filter(made_at=at, ended_at__isnull=True).count()
    later = rows.filter(ended_at__gt=at).exists()
    return LastChange(at, by, still) if still and not later else None


def undo_change(person: Person, branch: Branch, at: datetime, *, now: datetime) -> Kept:
    """Take back what was changed at that instant: what was made then is let go, what ended then is meant again.

    Nothing is removed: both stand on record. Taken back twice it changes nothing.
    Raises ReservationRefused when something was changed since, or it is too long ago.
    """
    with transaction.atomic():
        Branch.objects.select_for_update(no_key=True).get(pk=branch.pk)
        jobs = Job.objects.filter(branch=branch, reservations__made_at=at)
        list(Job.objects.select_for_update(no_key=True).filter(pk__in=jobs.values("pk")).order_by("pk"))
        made = Reservation.objects.filter(job__branch=branch, made_at=at)
        if not made.filter(ended_at__isnull=True).exists() and made.exists():
            return Kept(0, 0)
        change = last_change(branch, now)
        if change is None or change.at != at:
            raise ReservationRefused(
                _("Something was changed since, or it is longer ago than a day."), _("Change it by hand.")
            )
        before = list(Reservation.objects.filter(job__branch=branch, ended_at=at).order_by("pk"))
        ended = made.filter(ended_at__isnull=True).update(ended_at=now)
        able = _usable(row.tool_set_id for row in before)
        again = [_again(row, person, now) for row in before if row.tool_set_id in able]
        Reservation.objects.bulk_create(again)
        return Kept(len(again), ended)


def _again(row: Reservation, person: Person, now: datetime) -> Reservation:
    return Reservation(
        job_id=row.job_id,
        step_key=row.step_key,
        tool_set_id=row.tool_set_id,
        order=row.order,
        from_shift=row.from_shift,
        to_shift=row.to_shift,
        locked=row.locked,
        made_at=now,
        made_by=person,
    )


def _state(branch: Branch) -> str:
    """What a proposal stands on, in short: rows on record, and which reservations hold."""
    holding = Reservation.objects.filter(job__branch=branch, ended_at__isnull=True).order_by("pk")
    return f"{seen_now(branch)} {hash(tuple(holding.values_list('pk', 'locked')))}"


def _lock(branch: Branch, proposal: Proposal, loads: Sequence[UUID]) -> None:
    """One writer of reservations at a time: the branch for those who keep plans, the jobs for all others."""
    Branch.objects.select_for_update(no_key=True).get(pk=branch.pk)
    jobs = {proposal.loads[key].job.pk for key in loads}
    list(Job.objects.select_for_update(no_key=True).filter(pk__in=jobs).order_by("pk"))


def _open_rows(proposal: Proposal, loads: Sequence[UUID]) -> list[Wanted]:
    return [_as_wanted(row) for key in loads for row in proposal.loads[key].rows]


def _as_wanted(row: Reservation) -> Wanted:
    return Wanted(row.job_id, row.step_key, row.order, row.tool_set_id, row.from_shift, row.to_shift, row.locked)


def _usable(set_ids: Iterable[UUID]) -> set[UUID]:
    states = SetState.objects.filter(pk__in=list(set_ids), main_id=F("tool_set_id"), fitness=Fitness.USABLE)
    return set(states.values_list("pk", flat=True))


def _write(person: Person, proposal: Proposal, loads: Sequence[UUID], rows: Sequence[Wanted], now: datetime) -> Kept:
    """Leave just these rows open for the steps of these loads; rows that say the same stay as they are."""
    steps = [step.key for key in loads for step in proposal.loads[key].steps]
    holding = list(Reservation.objects.filter(step_key__in=steps, ended_at__isnull=True))
    wanted = {row: row for row in rows}
    stay = {_as_wanted(row) for row in holding} & set(wanted)
    gone = [row.pk for row in holding if _as_wanted(row) not in stay]
    able = _usable(row.set_id for row in rows)
    new = [row for row in rows if row not in stay and row.set_id in able]
    ended = Reservation.objects.filter(pk__in=gone).update(ended_at=now)
    Reservation.objects.bulk_create(
        Reservation(
            job_id=row.job_id,
            step_key=row.step_key,
            tool_set_id=row.set_id,
            order=row.order,
            from_shift=row.from_shift,
            to_shift=row.to_shift,
            locked=row.locked,
            made_at=now,
            made_by=person,
        )
        for row in new
    )
    return Kept(len(new), ended)
