"""`manage.py test` is pytest, with whatever arguments follow."""

import os
import sys

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Run the tests (pytest). Everything after the word test goes to pytest."

    def run_from_argv(self, argv: list[str]) -> None:
        """Hand over to pytest; Django's own options are not read. The whole suite runs on up to four cores."""
        import pytest

        cores = min(os.cpu_count() or 1, 4)
        whole = ["-n", str(cores)] if cores > 1 else []
        sys.exit(pytest.main(argv[2:] or whole))
