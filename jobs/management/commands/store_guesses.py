"""Store what nobody answered about last night as guessed; for a timer, a little after the setting "guess_at"."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from inventory.models import Branch
from jobs.actions.morning import NobodySettles, store_guesses


class Command(BaseCommand):
    """python3 manage.py store_guesses"""

    help = "Stores unanswered work of ended shifts as guessed, once the shop's hour is over. Running it again is safe."

    def handle(self, *args: Any, **options: Any) -> None:
        """Go through every branch and say how many steps were stored."""
        for branch in Branch.objects.order_by("pk"):
            try:
                stored = store_guesses(branch, now=timezone.now())
            except NobodySettles as refused:
                self.stderr.write(refused.sentence)
                continue
            self.stdout.write(f"{branch.name}: {len(stored)} steps stored as guessed.")
