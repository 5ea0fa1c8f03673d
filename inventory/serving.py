"""Serving the shop from one's own machine: the database made ready, an address that is free, gunicorn behind it.

For `manage.py start` and `manage.py demo`; a shop behind TLS is served by its own recipe.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application

# Measured: two processes of four threads; the second answers scans while the first is busy.
WORKERS, THREADS = 2, 4
FURTHER_PORTS = 20
Write = Callable[[str], Any]


class PortTaken(Exception):
    """Nothing can listen at that address; the text says why and what to do."""


def make_ready() -> None:
    """Bring the database up to date, quietly. Safe to repeat."""
    call_command("migrate", verbosity=0, interactive=False)


def free_port(host: str, port: int, *, exactly: bool = False) -> int:
    """The port, or (unless `exactly` that one is wanted) the first free one of the next twenty.

    Raises PortTaken.
    """
    for candidate in range(port, port + (1 if exactly else FURTHER_PORTS)):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host.strip("[]"), candidate))
            except OSError as problem:
                last = problem
                continue
            return candidate
    raise PortTaken(f"{host}:{port} cannot be listened at ({last.strerror}). Choose another one: --port {port + 1}.")


def address_of(host: str, port: int) -> str:
    """The address a browser on this machine opens."""
    shown = "127.0.0.1" if host in ("0.0.0.0", "") else host
    return f"http://{shown}:{port}/"


def allow_hosts(hosts: Sequence[str]) -> None:
    """Answer to these host names as well."""
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, *hosts]


def serve(host: str, port: int) -> None:
    """Serve until somebody presses Ctrl+C; with gunicorn where it runs, else with Django's own threaded server."""
    try:
        from gunicorn.app.base import BaseApplication
    except ImportError:  # Windows: gunicorn needs fcntl
        _serve_simply(host, port)
        return

    class Shop(BaseApplication):  # type: ignore[misc, unused-ignore]
        def load_config(self) -> None:
            options = {"bind": f"{host}:{port}", "workers": WORKERS, "threads": THREADS, "loglevel": "warning"}
            for name, value in options.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            return get_wsgi_application()

    Shop().run()


def _serve_simply(host: str, port: int) -> None:
    from django.core.servers.basehttp import run

    run(host, port, get_wsgi_application(), threading=True)
