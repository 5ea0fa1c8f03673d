"""Scans per second held by eight clients over HTTP on SQLite, none lost: `python -m tests.benchmarks.scans [scans]`.

A server of two processes of four threads, as `demo` and `start` run it; each client scans its own sets out and in by
turns through the scanning pages, signed in like a person. Reference in the same run: the sign-in page, read as often.
"""

from __future__ import annotations

import http.client
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4

CLIENTS, SETS = 8, 120
ROOT = Path(__file__).resolve().parent.parent.parent


def main(scans: int = 1200) -> None:
    """Make a shop, serve it, scan, and hold the ledger against what was acknowledged."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["GRITLEDGER_DATA"] = folder
        os.environ.pop("DATABASE_URL", None)
        os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
        import django

        django.setup()
        from inventory.serving import free_port

        jobs, outing, rack = _shop()
        port = free_port("127.0.0.1", 8600)
        server = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "gunicorn",
                "config.wsgi",
                f"--bind=127.0.0.1:{port}",
                "--workers=2",
                "--threads=4",
                "--worker-class=gthread",
                "--no-control-socket",
                "--log-level=error",
            ],
            cwd=ROOT,
            env=os.environ.copy(),
        )
        try:
            _wait(port)
            each = scans // CLIENTS
            began = time.perf_counter()
            with ProcessPoolExecutor(CLIENTS) as pool:
                results = list(pool.map(_client, [(port, *job, outing, rack, each) for job in jobs]))
            spent = time.perf_counter() - began
            began = time.perf_counter()
            with ProcessPoolExecutor(CLIENTS) as pool:
                list(pool.map(_reader, [(port, each)] * CLIENTS))
            reading = time.perf_counter() - began
        finally:
            server.terminate()
            server.wait()
        _report(results, spent, reading, each)


def _shop() -> tuple[list[tuple[str, str, list[str]]], str, str]:
    """A shop of 120 labelled sets; per client a session, a CSRF token and the codes it scans."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore
    from django.core.management import call_command
    from django.middleware.csrf import _get_new_csrf_string

    call_command("migrate", verbosity=0)
    import random

    from django.conf import settings
    from django.utils import timezone

    from inventory.actions.purchasing import receive
    from tests.cast import make_cast, make_outing, make_place, make_type, who

    cast, now = make_cast(), timezone.now()
    rack = make_place(cast.branch)
    tool_type = make_type("70", "metal", 1, soak_need="none")
    received = receive(
        who(cast.ruta, cast.device, now),
        cast.branch,
        tool_type,
        SETS,
        now=now,
        rng=random.Random(7),
        place=rack,
    )
    codes = [label.code for label in received.labels]
    outing = make_outing(cast.branch, leaves_at=now, due_at=None, made_at=now)
    clients = []
    for number in range(CLIENTS):
        session = SessionStore()
        session[SESSION_KEY] = str(cast.ines.pk)
        session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[-1]
        session[HASH_SESSION_KEY] = cast.ines.get_session_auth_hash()
        session.save()
        assert session.session_key is not None
        clients.append((session.session_key, _get_new_csrf_string(), codes[number::CLIENTS]))
    return clients, str(outing.pk), str(rack.pk)


def _wait(port: int) -> None:
    for _try in range(200):
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            connection.request("GET", "/sign-in/")
            connection.getresponse().read()
            return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("The server did not come up.")


def _client(job: tuple[int, str, str, list[str], str, str, int]) -> list[tuple[float, bool]]:
    """Scan one's sets out and in by turns; for each scan its time and whether it was taken."""
    port, session, token, codes, outing, rack, scans = job
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    headers = {
        "Cookie": f"sessionid={session}; csrftoken={token}",
        "Content-Type": "application/x-www-form-urlencoded",
        "X-Scan": "1",
    }
    done = []
    for number in range(scans):
        code, out = codes[number // 2 % len(codes)], number % 2 == 0
        path = f"/scan/out/{outing}/" if out else "/scan/in/"
        body = urlencode({"code": code, "act_id": uuid4(), "place": rack, "csrfmiddlewaretoken": token})
        began = time.perf_counter()
        connection.request("POST", path, body, headers)
        answer = connection.getresponse()
        text = answer.read()
        done.append((time.perf_counter() - began, answer.status == 200 and b"taken" in text.lower()))
    return done


def _reader(job: tuple[int, int]) -> None:
    port, reads = job
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    for _number in range(reads):
        connection.request("GET", "/sign-in/")
        connection.getresponse().read()


def _report(results: list[list[tuple[float, bool]]], spent: float, reading: float, each: int) -> None:
    from django.db import transaction

    from inventory.actions.keeping import refold_states
    from inventory.models import Entry, SetState

    times = sorted(seconds for done in results for seconds, _taken in done)
    taken = sum(kept for done in results for _seconds, kept in done)
    kept = Entry.objects.filter(kind__in=["scanned_out", "scanned_in"]).count()
    with transaction.atomic():
        differ = refold_states(list(SetState.objects.values_list("pk", flat=True)))
    count = len(times)
    at: Callable[[float], float] = lambda share: times[min(count - 1, int(share * count))] * 1000  # noqa: E731
    out = sys.stdout.write
    out(f"{count} scans by {CLIENTS} clients among {SETS} sets: {count / spent:.0f} a second\n")
    out(f"acknowledged {taken}, in the ledger {kept}, lost {max(0, taken - kept)}; states that differ: {differ}\n")
    out(f"ms: p50 {at(0.5):.0f}, p95 {at(0.95):.0f}, p99 {at(0.99):.0f}, most {times[-1] * 1000:.0f}\n")
    out(f"reference, sign-in page: {CLIENTS * each / reading:.0f} a second; ratio {reading / spent:.2f}\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1200)
