"""`manage.py start`: a shop of one's own. Makes the database, prints a one-time code while it has nobody, serves."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory import serving
from inventory.actions.first_run import make_code
from inventory.models import Person

PORT = 8000


class Command(BaseCommand):
    help = "Start your own shop: makes the database, prints a one-time code while it has nobody, serves it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to serve, and to whom."""
        parser.add_argument(
            "--port", type=int, default=None, help=f"port to serve at (else the one used last; at first {PORT})"
        )
        parser.add_argument(
            "--to",
            metavar="NAME",
            action="append",
            default=[],
            help="serve to other machines too, reached by this host name or number; may be given several times",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Make ready, say how to come in, serve until Ctrl+C."""
        host = "0.0.0.0" if options["to"] else "127.0.0.1"
        try:
            port, said = serving.port_for(host, options["port"], PORT)
        except serving.PortTaken as taken:
            raise CommandError(str(taken)) from taken
        self.stdout.write("Making the database ready.")
        serving.make_ready()
        serving.allow_hosts(options["to"])
        serving.served_by("start")
        address = serving.address_of(host, port)
        if Person.objects.exists():
            self.stdout.write(f"Your shop is at {address}")
        else:
            code = make_code(now=timezone.now())
            self.stdout.write(f"Your shop is empty. Its first person begins here, with the code {code}:")
            self.stdout.write(f"  {address}first-run/?code={code}")
        for name in options["to"]:
            self.stdout.write(f"Others reach it at http://{name}:{port}/ (without TLS: only in your own network)")
        if not options["to"]:
            again = serving.start_command("NAME", port)
            self.stdout.write("Only this computer reaches it. For phones, and before labels are printed, start it with")
            self.stdout.write(f"  {again}")
            self.stdout.write("NAME being the name or number by which the others in your network reach this computer.")
        if said:
            self.stdout.write(said)
        self.stdout.write("Ctrl+C stops it.")
        self.stdout.flush()
        serving.serve(host, port)
