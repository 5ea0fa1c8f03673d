"""Serving the site from one machine: what `demo` and `start` do once the database is ready."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Callable


def free_port(wanted: int = 8000) -> int:
    """The wanted port of this machine, or the next free one among twenty.

    Raises OSError when all are taken.
    """
    for port in range(wanted, wanted + 20):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise OSError(f"Ports {wanted} to {wanted + 19} are all taken. Say another with --port.")


def serve(host: str, port: int, say: Callable[[str], None]) -> None:
    """Serve until Ctrl+C. Two processes of four threads: the second answers scans while the first computes.

    Does not return: the process becomes the server. Where gunicorn does not run, Django's own server takes its place.
    """
    say(f"Open http://{'localhost' if host == '127.0.0.1' else host}:{port}/   (Ctrl+C ends it)")
    sys.stdout.flush()
    try:
        import gunicorn.app.wsgiapp  # noqa: F401  (only where it can run)
    except ImportError:
        arguments = [sys.executable, "manage.py", "runserver", "--noreload", "--insecure", f"{host}:{port}"]
    else:
        arguments = [
            sys.executable,
            "-m",
            "gunicorn",
            "config.wsgi",
            f"--bind={host}:{port}",
            "--workers=2",
            "--threads=4",
            "--worker-class=gthread",
            "--timeout=60",
            "--log-level=warning",
            "--no-control-socket",
        ]
    os.execv(sys.executable, arguments)
