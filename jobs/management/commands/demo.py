"""`manage.py demo`: a made-up shop with over a year of history, tonight's picture, then the site."""

from __future__ import annotations

import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone, translation

from inventory import serving
from inventory.actions.first_run import take_address
from inventory.codes import only_this_computer
from inventory.models import Branch, Person
from jobs.actions.forecast import refresh_forecast
from jobs.demo.make import demo_passwords, make_demo
from jobs.demo.picture import picture
from jobs.demo.shop import read_scenario

PORT = 8000
HINTS = {
    "ines": "shop manager: Shop day, scanning, soak, count",
    "dag": "crew lead: My job, confirms soaks, logs passes",
    "marisol": "crew lead, in Spanish",
    "benno": "crew lead",
    "teo": "helper: scans only; PIN {pin} on a shared tablet",
    "ruta": "purchaser: Reorder, orders, prices",
    "olga": "owner: everything, metric",
}


class Command(BaseCommand):
    """Makes the demo shop when there is none, shows tonight in the terminal, and serves the site."""

    help = "Make the demo shop (over a year of invented history), show tonight's picture, serve the site."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--fresh", action="store_true", help="make the demo shop anew")
        parser.add_argument("--no-serve", action="store_true", help="stop after tonight's picture")
        parser.add_argument(
            "--port", type=int, default=None, help=f"port to serve at (else the one used last; at first {PORT})"
        )
        parser.add_argument(
            "--to", metavar="NAME", action="append", default=[], help="serve to other machines too, by this host name"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["fresh"]:
            self._clear()
        serving.make_ready()
        self._make()
        with translation.override("en"):
            self.stdout.write(picture(Branch.objects.get(), timezone.now()))
        self._hints()
        if options["no_serve"]:
            return
        host = "0.0.0.0" if options["to"] else "127.0.0.1"
        try:
            port, said = serving.port_for(host, options["port"], PORT)
        except serving.PortTaken as taken:
            raise CommandError(str(taken)) from taken
        serving.allow_hosts(options["to"])
        serving.served_by("demo")
        if said:
            self.stdout.write(said)
        self._labels_follow(serving.address_of(options["to"][0] if options["to"] else host, port))
        self.stdout.write(f"Open {serving.address_of(host, port)} in a browser. Ctrl+C ends it.")
        self.stdout.flush()
        connection.close()
        serving.serve(host, port)

    def _labels_follow(self, served: str) -> None:
        """Labels of the demo hold the address it is served at, unless somebody has said another that others reach."""
        branch, base = Branch.objects.get(), served.rstrip("/")
        if branch.label_address.lower() != base.lower() and only_this_computer(branch.label_address):
            take_address(branch, base, now=timezone.now())
            self.stdout.write(f"Labels printed from now on open {base}.")

    def _make(self) -> None:
        if Person.objects.exists():
            scenario = read_scenario()
            if not Branch.objects.filter(name=scenario["branch"]["name"]).exists():
                raise CommandError(
                    "This database holds a shop of your own; the demo stays out of it. "
                    "Set GRITLEDGER_DATA to another folder, or start yours with: python3 manage.py start"
                )
            self.stdout.write("The demo shop is there already (--fresh makes it anew).")
            return
        self.stdout.write("Making the demo shop: over a year of soaks, nights, mornings and orders.")
        began, shown = time.monotonic(), -1

        def progress(share: float) -> None:
            nonlocal shown
            percent = min(100, int(share * 100))
            if percent == shown or (not sys.stdout.isatty() and percent % 20):
                return
            shown = percent
            end = "\r" if sys.stdout.isatty() else "\n"
            self.stdout.write(f"  {percent:3d} % of the year  {'=' * (percent // 4):<25}", ending=end)
            self.stdout.flush()

        made = make_demo(timezone.now(), progress)
        self.stdout.write("")
        self.stdout.write(
            f"  {made.sets_in_use} sets in use, {made.sets_retired} retired; {made.jobs_done} jobs done, "
            f"{made.jobs_planned} planned; {made.entries:,} ledger entries in {time.monotonic() - began:.0f} s."
        )
        self.stdout.write("Working out what must be ordered by when.")
        refresh_forecast(made.shop.branch, now=timezone.now())

    def _clear(self) -> None:
        """Begin with an empty database file; on a database server that is left to whoever runs it."""
        if Person.objects.exists() if self._has_tables() else False:
            name = read_scenario()["branch"]["name"]
            if not Branch.objects.filter(name=name).exists():
                raise CommandError("This database holds a shop of your own; the demo does not touch it.")
        if connection.vendor != "sqlite":
            raise CommandError("On a database server, drop and create the database yourself, then run demo again.")
        connection.close()
        path = Path(str(settings.DATABASES["default"]["NAME"]))
        for suffix in ("", "-wal", "-shm"):
            Path(f"{path}{suffix}").unlink(missing_ok=True)

    def _has_tables(self) -> bool:
        return Person._meta.db_table in connection.introspection.table_names()

    def _hints(self) -> None:
        passwords = demo_passwords()
        self.stdout.write("\nSign in as:")
        for row in read_scenario()["people"]:
            hint = HINTS[row["sign_in"]].format(pin=row.get("pin", ""))
            self.stdout.write(f"  {row['sign_in']:<8} {passwords[row['sign_in']]:<14} {row['name']:<11} {hint}")
        self.stdout.write("")
