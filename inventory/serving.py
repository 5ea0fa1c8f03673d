"""Serving the shop from one's own machine: the database made ready, an address that is free, gunicorn behind it.

For `manage.py start` and `manage.py demo`; a shop behind TLS is served by its own recipe.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.http.request import validate_host

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


def port_for(host: str, wanted: int | None, usual: int) -> tuple[int, str]:
    """The port to serve at, and a sentence about it or "": the wanted one, else the one used last, else a free one.

    Printed labels hold the port, so the one used last is kept beside the database and taken again.
    Raises PortTaken.
    """
    last = _last_port()
    if wanted is not None:
        port = free_port(host, wanted, exactly=True)
        _keep_port(port)
        moved = last is not None and last != port
        return port, f"It was port {last} until now: labels printed with {last} open nothing here." if moved else ""
    if last is None:
        port = free_port(host, usual)
        _keep_port(port)
        return port, ""
    try:
        return free_port(host, last, exactly=True), ""
    except PortTaken:
        port = free_port(host, usual)
    return port, (
        f"Port {last}, used last, is taken by another program, so this is {port} for now. Labels printed with {last} "
        f"open nothing here: stop what holds {last} and start this again."
    )


def _last_port() -> int | None:
    try:
        port = int((Path(settings.DATA_DIR) / "port").read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
    return port if 0 < port < 65536 else None


def _keep_port(port: int) -> None:
    (Path(settings.DATA_DIR) / "port").write_text(f"{port}\n", encoding="ascii")


def served_by(command: str) -> None:
    """Remember with which command this is served: the pages then say how it is started for others too."""
    settings.SERVED_BY = command


def start_command(name: str, port: int) -> str:
    """What to type in the terminal so that others reach the shop by this name; "" where no start of ours serves it."""
    command = getattr(settings, "SERVED_BY", "")
    return f"python3 manage.py {command} --to {name} --port {port}" if command else ""


def answers_to(host: str) -> bool:
    """Whether the shop, as it is served now, answers requests to this host's name or number."""
    return validate_host(host, settings.ALLOWED_HOSTS)


def address_of(host: str, port: int) -> str:
    """The address a browser on this machine opens."""
    shown = "127.0.0.1" if host in ("0.0.0.0", "") else host
    return f"http://{shown}:{port}/"


def allow_hosts(hosts: Sequence[str]) -> None:
    """Answer to these host names as well."""
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, *hosts]
    settings.SERVED_TO = list(hosts)


def served_to() -> str:
    """The name by which others reach the shop, as it was started; "" when it serves this computer alone."""
    return next(iter(getattr(settings, "SERVED_TO", [])), "")


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
