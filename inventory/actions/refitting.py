"""Learning lives anew on demand: one run at a time, how far it is, how it ended; what of it is due.

A run is begun in a page or by ``manage.py refit`` and worked off where nobody waits for it. What was learnt before
holds until it is done, and where it fails.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import estimate
from inventory.actions.lives import READINGS_UNTIL_DUE, Progress, Refitted, facts_of, refit
from inventory.models import LearntFloors, Person, RefitRun, StoredLife
from inventory.refusals import Refused

_ROW = 1
STOPPED_AFTER = timedelta(minutes=10)  # a run that said nothing for so long was ended with its process
Clock = Callable[[], datetime]


class AlreadyAtIt(Refused):
    """Another run is being worked off."""


def newest_run() -> RefitRun | None:
    """The newest run, done or not; one query."""
    return RefitRun.objects.select_related("asked_by").filter(pk=_ROW).first()


def stopped(run: RefitRun, now: datetime) -> bool:
    """Whether a run ended with its process, without a word."""
    return run.ended_at is None and now - run.seen_at > STOPPED_AFTER


def begin_run(*, asked_by: Person | None, whole: bool, now: datetime) -> RefitRun:
    """Begin a run; raises AlreadyAtIt while another one is being worked off."""
    with transaction.atomic():
        before = RefitRun.objects.select_for_update().filter(pk=_ROW).first()
        if before is not None and before.ended_at is None and not stopped(before, now):
            raise AlreadyAtIt(_("It is being worked out already. What holds now stays until that is done."))
        run = RefitRun(pk=_ROW, asked_by=asked_by, begun_at=now, seen_at=now, whole=whole)
        run.save()
    return run


def work_off(
    run: RefitRun, *, clock: Clock, bonds: Collection[str] | None = None, say: Progress | None = None
) -> Refitted | None:
    """Learn lives anew for a run begun before, and note how far it is. None where it failed: the run then says so.

    bonds: only tool types of these bonds, without the floor factors; None: everything. say: is told how far it is too.
    """

    def progress(what: str, done: int, of: int) -> None:
        _note(run, what=what, done=done, of=of, seen_at=clock())
        if say is not None:
            say(what, done, of)

    try:
        made = refit(now=clock(), bonds=bonds, floors=bonds is None, progress=progress)
    except Exception as failure:
        logging.getLogger(__name__).exception("Learning lives anew failed; what was learnt before holds.")
        _note(run, ended_at=clock(), seen_at=clock(), failure=f"{type(failure).__name__}: {failure}"[:200])
        return None
    _note(run, ended_at=clock(), seen_at=clock(), types=made.types, sets=made.sets)
    return made


def _note(run: RefitRun, **columns: object) -> None:
    # By its beginning: a run that was taken for stopped does not write over the one after it.
    RefitRun.objects.filter(pk=_ROW, begun_at=run.begun_at).update(**columns)


@dataclass(frozen=True)
class Due:
    """What has happened since lives were learnt last. last: when everything was; None: never.

    types: tool types known by number, of them `due`; changed: sets with news since their type was learnt.
    """

    last: datetime | None
    types: int
    due: tuple[str, ...]
    changed: int


def what_is_due() -> Due:
    """What is due: types never learnt, with other facts than they were learnt with, or with ten heights since.

    Four queries for any number of types and sets.
    """
    types = estimate.types_with_fits()
    rated = estimate.ratings(types)
    due = []
    for one in types:
        learnt = estimate.learnt_of(one)
        if one.pk not in rated:
            continue
        if learnt is None or learnt.facts != facts_of(one) or learnt.readings >= READINGS_UNTIL_DUE:
            due.append(one.name)
    last = LearntFloors.objects.values_list("fitted_at", flat=True).first()
    changed = StoredLife.objects.filter(as_fitted__isnull=False).count()
    return Due(last, len(rated), tuple(due), changed)
