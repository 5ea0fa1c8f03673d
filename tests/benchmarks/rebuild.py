"""How long `rebuild` takes per 100,000 entries, beside plainly reading and counting the same entries.

`python -m tests.benchmarks.rebuild [entries]`: builds a shop of its own in a temporary SQLite file (entries are laid
down straight into the tables, 100 a set, as the writer would lay them), rebuilds it, and prints the times.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

PER_SET = 100


def lay_down(entries: int) -> None:
    """A shop with so many entries: sets that go out, work, come back, are measured and soak, a little voided."""
    from inventory.models import Act, Entry, ToolSet
    from tests.cast import NOW, make_cast, make_outing, make_place, make_type, uuid

    cast = make_cast()
    racks, tub = [make_place(cast.branch) for _rack in range(4)], make_place(cast.branch, "tub")
    outings = [make_outing(cast.branch, f"Job {number}") for number in range(20)]
    sets = [ToolSet(tool_type=make_type(), made_at=NOW) for _set in range(entries // PER_SET)]
    ToolSet.objects.bulk_create(sets)
    work = {
        "floor_uuid": uuid(1),
        "visit_uuid": uuid(2),
        "step_key": uuid(3),
        "area_m2": 90.0,
        "passes": 5,
        "hardness": "hard",
        "surface": "raw",
        "coating": "none",
        "wet_dry": "wet",
        "step_kind": "later",
        "basis": "section_done",
    }
    rows: list[tuple[Act, Entry]] = []
    start = NOW - timedelta(days=700)
    for number, tool_set in enumerate(sets):
        rack = racks[number % 4]
        targets: list[Any] = []
        for step in range(PER_SET):
            night, part = divmod(step, 8)
            outing = outings[night % 20]
            kinds: list[tuple[str, dict[str, Any]]] = [
                ("soak_begun", {"to_place": tub}),
                ("soak_ended", {"to_place": rack}),
                ("conditioning_confirmed", {}),
                ("scanned_out", {"outing": outing, "gate": "passed"}),
                ("worked", {**work, "outing": outing, "shift_uuid": uuid(10 + night)}),
                ("worked", {**work, "outing": outing, "shift_uuid": uuid(10 + night)}),
                ("scanned_in", {"to_place": rack, "outing": outing}),
                ("measured", {"lowest_height_mm": 12.0 - night * 0.5}),
            ]
            kind, columns = kinds[part]
            if step == 0:
                kind, columns = "received", {"branch": cast.branch, "to_place": rack}
            elif part == 7 and night % 5 == 4:
                kind, columns = "voided", {"void_target": targets[-1], "why": "misread"}
            at = start + timedelta(hours=step * 6, minutes=number % 60)
            act = Act(
                branch=cast.branch,
                device=cast.device,
                device_seq=step,
                written_at=at,
                sent_at=at,
                happened_at=at,
                recorded_at=at,
                done_by=cast.ines,
                entered_by=cast.ines,
                source="phone",
                time_known="exact",
                content_sha256="laid down",
            )
            entry = Entry(act=act, line_no=1, kind=kind, tool_set=tool_set, **columns)
            targets.append(entry.pk)
            rows.append((act, entry))
    Act.objects.bulk_create([act for act, _entry in rows], batch_size=1000)
    Entry.objects.bulk_create([entry for _act, entry in rows], batch_size=500)


def timed(doing: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds that a thing took, and what it gave."""
    begun = time.perf_counter()
    given = doing()
    return time.perf_counter() - begun, given


def read_all() -> int:
    """The floor below any rebuild: every entry read once from the database, nothing made of it."""
    from inventory.models import Entry

    return sum(1 for _row in Entry.objects.select_related("act").values_list().iterator(chunk_size=4000))


def main(entries: int) -> None:
    """Build, rebuild and print."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DATABASE_URL"] = f"sqlite:///{Path(folder) / 'benchmark.sqlite3'}"
        os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        from inventory.models import Entry, SetState

        call_command("migrate", verbosity=0)
        lay_down(entries)
        count, total = timed(Entry.objects.count)
        read, _rows = timed(read_all)
        first, _nothing = timed(lambda: call_command("rebuild", stdout=StringIO()))
        again, _nothing = timed(lambda: call_command("rebuild", "--check", stdout=StringIO()))
        per = 100_000 / total
        print(f"{total:,} entries of {SetState.objects.count():,} sets on SQLite")
        print(f"count(*)            {count * per:8.3f} s per 100,000 entries")
        print(f"read every entry    {read * per:8.2f} s")
        print(f"rebuild, all new    {first * per:8.2f} s   {first / read:5.1f} times reading")
        print(f"rebuild --check     {again * per:8.2f} s   {again / read:5.1f} times reading")
        connection.close()


if __name__ == "__main__":
    main(int(sys.argv[1].replace(",", "")) if len(sys.argv) > 1 else 100_000)
