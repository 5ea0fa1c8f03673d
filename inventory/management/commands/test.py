"""`manage.py test` is pytest, with whatever arguments follow."""

import sys

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Run the tests (pytest). Everything after the word test goes to pytest."

    def run_from_argv(self, argv: list[str]) -> None:
        """Hand over to pytest; Django's own options are not read."""
        import pytest

        sys.exit(pytest.main(argv[2:]))
