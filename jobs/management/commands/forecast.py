"""Work out what to order, keep it for the reorder page, and say it in the terminal."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from inventory.models import Branch
from jobs.actions.forecast import refresh_forecast
from jobs.forecast_words import headline, line_words


class Command(BaseCommand):
    help = "Works out what to order by when, for every branch, and keeps it for the reorder page."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--money", action="store_true", help="say what it costs as well")

    def handle(self, *args: Any, **options: Any) -> None:
        for branch in Branch.objects.order_by("pk"):
            made = refresh_forecast(branch, now=timezone.now())
            self.stdout.write(f"{branch.name}: {headline(made, money=options['money'])}")
            for one in made.types:
                if one.order_by is not None:
                    self.stdout.write(f"  {line_words(one, made.today)}")
