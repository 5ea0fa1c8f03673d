"""`manage.py refit`: learn the lives of all tool types and the floor factors from the whole record; for cron."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.actions.refitting import AlreadyAtIt, begin_run, work_off

_WORDS = {"floors": "floor factors", "types": "tool types"}


class Command(BaseCommand):
    help = "Learn floor factors and the lives of all tool types anew, and work out the life left of every set."

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.perf_counter()

        def progress(what: str, done: int, of: int) -> None:
            self.stdout.write(f"{_WORDS[what]}: {done} of {of}")
            self.stdout.flush()

        try:
            run = begin_run(asked_by=None, whole=True, now=timezone.now())
        except AlreadyAtIt:
            self.stdout.write("Another run is at it; left to that one.")
            return
        made = work_off(run, clock=timezone.now, say=progress)
        if made is None:
            raise CommandError("It failed; what was learnt before holds. The log says why.")
        self.stdout.write(
            f"{made.types} tool types fitted, the life left of {made.sets} sets worked out; "
            f"{time.perf_counter() - begun:.1f} s."
        )
        if made.left_out:
            self.stdout.write(f"Without a rating, and none of their bond: {', '.join(made.left_out)}.")
