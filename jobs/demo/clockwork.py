"""The demo shop's clockwork: what happens is put on a list by its time and done in that order, as in a real year."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from datetime import datetime
from itertools import count

Event = Callable[[datetime], None]


class Clockwork:
    """Events by time; an event may put later ones on the list. Those after ``until`` never happen."""

    def __init__(self, until: datetime) -> None:
        self.until = until
        self._events: list[tuple[datetime, int, Event]] = []
        self._numbers = count()
        self.now: datetime | None = None

    def at(self, when: datetime, event: Event) -> None:
        """Put an event on the list; one that would lie in the past happens next."""
        if self.now is not None and when < self.now:
            when = self.now
        heapq.heappush(self._events, (when, next(self._numbers), event))

    def run(self, progress: Callable[[datetime], None]) -> int:
        """Do everything up to ``until`` in order; returns how many events were done."""
        done = 0
        while self._events and self._events[0][0] <= self.until:
            when, _number, event = heapq.heappop(self._events)
            self.now = when
            event(when)
            done += 1
            progress(when)
        return done
