"""`manage.py rebuild`: fold every ledger anew and keep the result; with --check only say whether any would change."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from inventory.actions.keeping import keep_labels, keep_places, refold_states
from inventory.actions.lives import refit
from inventory.models import Entry, Label, Place, ToolSet
from inventory.queries.ledger import same_sets

# Sets folded in one transaction: few enough that nobody who scans meanwhile waits long.
BATCH = 200


def batches(keys: Sequence[Any], size: int) -> Iterator[list[Any]]:
    """Cut a list of keys into lists of this size, the last one shorter."""
    rest = iter(keys)
    while batch := list(islice(rest, size)):
        yield batch


class Command(BaseCommand):
    help = "Fold every ledger anew: what labels open, where buckets and crates are, the state of every set; its life."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--check", action="store_true", help="write nothing; end with 1 when anything kept differs from its ledger"
        )

    def handle(self, *args: Any, check: bool = False, **options: Any) -> None:
        begun = time.perf_counter()
        codes = list(Label.objects.order_by("pk").values_list("pk", flat=True))
        labels = self._each("labels", codes, check, lambda batch: len(keep_labels(batch).changed))
        moved = Entry.objects.filter(kind="moved", place__isnull=False).values("place_id")
        place_ids = list(Place.objects.filter(pk__in=moved).order_by("pk").values_list("pk", flat=True))
        place_ids += list(
            Place.objects.exclude(pk__in=place_ids).filter(inside__isnull=False).values_list("pk", flat=True)
        )
        places = self._each("places", place_ids, check, keep_places)
        set_ids = list(ToolSet.objects.order_by("pk").values_list("pk", flat=True))
        groups = same_sets(set_ids)
        sets = self._each("sets", set_ids, check, lambda batch: refold_states(batch, groups=groups))
        # Sets that somebody joined or split while this ran.
        joined = same_sets(set_ids)
        if late := [set_id for set_id in set_ids if joined[set_id] != groups[set_id]]:
            sets += self._each("sets joined meanwhile", late, check, refold_states)
        seconds = time.perf_counter() - begun
        said = (
            f"{sets} of {len(set_ids)} states, {labels} of {len(codes)} labels and {places} of {len(place_ids)} places "
            f"{'differ from their ledgers' if check else 'changed'}; {seconds:.1f} s."
        )
        if not check:
            refit(now=timezone.now(), floors=False)
        if check and (sets or labels or places):
            raise CommandError(f"{said} Nothing was written; `manage.py rebuild` writes what the ledgers say.")
        self.stdout.write(said)

    def _each(self, what: str, keys: Sequence[Any], check: bool, keep: Callable[[list[Any]], int]) -> int:
        """Keep these in batches, each in a transaction that a check rolls back; returns how many changed."""
        changed = done = 0
        for batch in batches(keys, BATCH):
            with transaction.atomic():
                changed += keep(batch)
                if check:
                    transaction.set_rollback(True)
            done += len(batch)
            if done == len(keys) or done % (10 * BATCH) == 0:
                self.stdout.write(f"{what}: {done} of {len(keys)}")
        return changed
