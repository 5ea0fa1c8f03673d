"""Time, bytes and queries of the pages a shop opens most, at 100 and at 10,000 sets: python -m tests.benchmarks.pages

Makes a database of its own in a temporary folder. Sets are put in by bulk: entries as the writer would write them, then
their states folded anew by the writer's own `refold_states`, in batches. Every page is asked once to warm it and then
three times; the best is said, and the first.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

BATCH = 500
PAGES = (
    ("rack", "inventory:rack", "", None),
    ("rack, list", "inventory:rack", "?view=list", None),
    ("rack, list by life", "inventory:rack", "?view=list&sort=-life&page=2", None),
    ("grit", "inventory:rack_grit", "", "type"),
    ("set", "inventory:toolset", "", "set"),
    ("set on the phone", "inventory:set_phone", "", "set"),
    ("card", "inventory:toolset_ledger", "", "set"),
    ("wear", "inventory:wear", "", None),
    ("type's life", "inventory:type_life", "", "type"),
    ("floor factors", "inventory:floor_factors", "", None),
    ("place", "inventory:place_phone", "", "rack"),
    ("soak", "inventory:soak", "", None),
    ("shop day", "jobs:shop_day", "", None),
    ("job", "jobs:job", "", "job"),
    ("sets for jobs", "jobs:sets_for_jobs", "", None),
    ("reorder", "jobs:reorder", "", None),
)


def main(sizes: list[int]) -> None:
    """Print a table for each number of sets."""
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            if (pid := os.fork()) == 0:
                _measure(size, Path(folder))
                os._exit(0)
            os.waitpid(pid, 0)


def _measure(size: int, folder: Path) -> None:
    os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'pages.sqlite3'}"
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    from inventory.actions.lives import refit

    settings.ALLOWED_HOSTS = ["*"]
    call_command("migrate", verbosity=0)
    begun = time.perf_counter()
    shop = _fill(size)
    made = time.perf_counter() - begun
    begun = time.perf_counter()
    refit(now=shop["now"])
    fitted = time.perf_counter() - begun
    print(f"\n{size:,} sets, {shop['entries']:,} entries (made in {made:.0f} s; lives worked out in {fitted:.1f} s)")
    print(f"{'page':20} {'first':>8} {'best of 3':>10} {'queries':>8} {'bytes':>10} {'gzip':>8}")
    _ask(shop)


def _fill(size: int) -> dict[str, Any]:
    """A shop of so many sets over ten grits: a year of use behind most, some out, in water, aside, missing."""
    from django.db import transaction
    from django.utils import timezone

    from inventory.actions.keeping import refold_states
    from inventory.models import Act, Entry, Label, SetState, ToolSet
    from tests.cast import make_cast, make_outing, make_place, make_type

    now = timezone.now()
    cast = make_cast()
    racks = [make_place(cast.branch, name=f"Rack {letter}") for letter in "ABCDEFGH"]
    tubs = [make_place(cast.branch, "tub", f"Tub {number}") for number in range(1, 7)]
    lost = make_place(cast.branch, "unknown", "unknown")
    outings = [
        make_outing(cast.branch, f"Job {n}", leaves_at=now - timedelta(hours=6), due_at=now + timedelta(hours=8))
        for n in range(8)
    ]
    grits = ["30", "70", "120", "50", "100", "200", "400", "800", "1500", "3000"]
    types = [
        make_type(grit, "metal" if place < 3 else "resin", place, soak_need="none" if place < 3 else "required")
        for place, grit in enumerate(grits)
    ]
    sequence, entries, first = 0, 0, None
    for start in range(0, size, BATCH):
        sets, acts, lines, labels = [], [], [], []
        for number in range(start, min(start + BATCH, size)):
            tool_set = ToolSet(tool_type=types[number % 10], made_at=now)
            sets.append(tool_set)
            code = f"GL-{number:06d}"
            labels.append(Label(code=code, branch=cast.branch, made_at=now))
            for at, kind, columns in _life(random.Random(number), now, racks, tubs, lost, outings, cast.branch, code):
                sequence += 1
                act = Act(
                    branch=cast.branch,
                    device=cast.device,
                    device_seq=sequence,
                    written_at=at,
                    sent_at=at,
                    happened_at=at,
                    recorded_at=now,
                    done_by=cast.ines,
                    entered_by=cast.ines,
                    source="desk",
                    time_known="exact",
                )
                acts.append(act)
                lines.append(Entry(act=act, line_no=1, kind=kind, tool_set=tool_set, **columns))
        with transaction.atomic():
            ToolSet.objects.bulk_create(sets)
            Label.objects.bulk_create(labels)
            Act.objects.bulk_create(acts)
            Entry.objects.bulk_create(lines)
            by_set = {tool_set.pk for tool_set in sets}
            opened = {line.code_id: line for line in lines if line.kind == "labelled"}
            for label in labels:
                label.opens_set_id, label.opened_entry = opened[label.code].tool_set_id, opened[label.code].pk
                label.opened_at = now
            Label.objects.bulk_update(labels, ["opens_set", "opened_entry", "opened_at"])
            refold_states(by_set)
        entries += len(lines)
        first = first or sets[6].pk  # the same life behind it whatever the size
    assert SetState.objects.count() == size
    return {"cast": cast, "types": types, "rack": racks[0], "set": first, "entries": entries, "now": now}


def _life(
    rng: random.Random,
    now: Any,
    racks: list[Any],
    tubs: list[Any],
    lost: Any,
    outings: list[Any],
    branch: Any,
    code: str,
) -> list[tuple[Any, str, dict[str, Any]]]:
    """The entries of one set, oldest first."""
    rack, at = rng.choice(racks), now - timedelta(days=rng.uniform(20, 360))
    found: list[tuple[Any, str, dict[str, Any]]] = [
        (at, "received", {"branch": branch, "to_place": rack}),
        (at + timedelta(minutes=1), "labelled", {"code_id": code}),
    ]
    floor = {
        "passes": 5,
        "surface": "worn",
        "coating": "none",
        "wet_dry": "wet",
        "step_kind": "later",
        "basis": "measured",
    }
    for _use in range(rng.randrange(0, 6)):
        at = min(at + timedelta(days=rng.uniform(1, 12)), now - timedelta(days=4))
        keys = {name: UUID(int=rng.getrandbits(128)) for name in ("floor_uuid", "visit_uuid", "step_key")}
        found += [
            (at, "scanned_out", {"outing": rng.choice(outings), "gate": "passed"}),
            (
                at + timedelta(hours=6),
                "worked",
                {**keys, **floor, "area_m2": rng.uniform(40, 300), "hardness": rng.choice(["soft", "medium", "hard"])},
            ),
            (at + timedelta(hours=9), "scanned_in", {"to_place": rack, "peg": str(rng.randrange(1, 60))}),
        ]
    last, roll = now - timedelta(hours=rng.uniform(1, 20)), rng.random()
    if roll < 0.10:
        found.append((last, "scanned_out", {"outing": rng.choice(outings), "gate": "passed"}))
    elif roll < 0.18:
        found.append((last - timedelta(hours=40), "soak_begun", {"to_place": rng.choice(tubs)}))
    elif roll < 0.30:
        found.append((last - timedelta(hours=90), "soak_begun", {"to_place": rng.choice(tubs)}))
        found.append((last - timedelta(minutes=30), "soak_ended", {"to_place": rack}))
        found.append((last, "conditioning_confirmed", {}))
    elif roll < 0.34:
        found.append((last, "set_aside", {"why": "chipped piece"}))
    elif roll < 0.35:
        found.append((last, "moved", {"to_place": lost}))
    elif roll < 0.40:
        found.append((last, "retired", {"retired_why": "worn"}))
    return found


def _ask(shop: dict[str, Any]) -> None:
    import gzip

    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import NoReverseMatch, reverse

    client = Client()
    client.force_login(shop["cast"].olga)
    about = {"type": shop["types"][6].pk, "set": shop["set"], "rack": shop["rack"].pk, "job": _job(shop)}
    for name, url_name, query, needs in PAGES:
        try:
            url = reverse(url_name, args=[about[needs]] if needs else []) + query
        except NoReverseMatch:
            print(f"{name:20} is not built")
            continue
        times, content = [], b""
        for _round in range(4):
            begun = time.perf_counter()
            answer = client.get(url, follow=True)
            times.append(time.perf_counter() - begun)
            content = b"".join(answer) if answer.streaming else answer.content
        with CaptureQueriesContext(connection) as queries:
            client.get(url, follow=True)
        status = "" if answer.status_code == 200 else f"  {answer.status_code}"
        best = statistics.fmean(sorted(times[1:])[:1])
        print(
            f"{name:20} {times[0]:>6.2f} s {best:>8.2f} s {len(queries):>8} {len(content):>10,} "
            f"{len(gzip.compress(content)):>8,}{status}",
            flush=True,
        )


def _job(shop: dict[str, Any]) -> Any:
    """A won job with two steps over two nights, from tonight on."""
    from tests.jobs.plans import make_planned

    first = shop["now"] + timedelta(hours=3)
    return make_planned(shop["cast"], now=shop["now"], first=first, starts_on=first.date()).job_id


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or [100, 10_000])
