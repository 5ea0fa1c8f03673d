#!/usr/bin/env python3
"""Gritledger's commands. `python3 manage.py demo` and `python3 manage.py test` do all the set-up themselves.

Until it stands in the project's own environment (`.venv`) this file uses the standard library only: it looks at
the Python, makes `.venv`, installs exactly the locked parts, and starts itself again in there. Somebody who has
an environment of their own active (VIRTUAL_ENV) is left alone.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
OLDEST = (3, 11)
RUN_LOCK = ROOT / ".lock" / "run.txt"
TEST_LOCK = ROOT / ".lock" / "test.txt"  # holds everything that the run lock holds
# Settings that would send pip's parts somewhere else than into our environment.
PIP_DETOURS = ("PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PYTHONHOME", "PYTHONPATH")


class SetupRefused(Exception):
    """Set-up cannot go on; the text says why and what to do, in one sentence or two."""


def version_refusal(version: tuple[int, ...], executable: str) -> str | None:
    """Say why this Python will not do, or None if it will."""
    if tuple(version[:2]) >= OLDEST:
        return None
    wanted, found = ".".join(map(str, OLDEST)), ".".join(map(str, version[:3]))
    return f"Gritledger needs Python {wanted} or newer; {executable} is {found}. Run this with a newer one."


def mark_of(lock: Path) -> str:
    """Return the mark of an environment that holds exactly `lock` for this Python."""
    return hashlib.sha256(sys.version.encode() + b"\0" + lock.read_bytes()).hexdigest()


def locks_that_serve(command: str) -> list[Path]:
    """Return the locks whose environment can run `command`, the one to install first."""
    return [TEST_LOCK] if command == "test" else [RUN_LOCK, TEST_LOCK]


def environment_python(environment: Path) -> Path:
    """Return the path of an environment's own Python."""
    return environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def installed_mark(environment: Path) -> str:
    """Return the mark in an environment, or "" if it was never finished."""
    try:
        mark = (environment / "installed").read_text(encoding="ascii")
    except OSError:
        return ""
    return mark if environment_python(environment).exists() else ""


@contextmanager
def one_at_a_time(path: Path) -> Iterator[None]:
    """Let one start set up; a second one waits here until the first has finished or died."""
    with open(path, "a", encoding="ascii") as handle:
        try:
            import fcntl
        except ImportError:  # Windows has no flock: two starts at once are not guarded there
            yield
            return
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            print("Another start is setting up; waiting for it.", flush=True)
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def run_quietly(*command: str) -> subprocess.CompletedProcess[str]:
    """Run a command, keeping what it says to ourselves."""
    return subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)


def make_environment(environment: Path) -> list[str]:
    """Make an empty environment and return the command that starts its pip.

    Raises SetupRefused if this Python brings no pip of any kind.
    """
    inside = str(environment_python(environment))
    made = run_quietly(sys.executable, "-m", "venv", "--clear", str(environment))
    if made.returncode == 0:
        return [inside, "-m", "pip"]
    # Debian ships ensurepip apart from Python, sometimes as an empty folder: only trying tells.
    bare = run_quietly(sys.executable, "-m", "venv", "--clear", "--without-pip", str(environment))
    if bare.returncode == 0 and run_quietly(sys.executable, "-m", "pip", "--version").returncode == 0:
        return [sys.executable, "-m", "pip", "--python", inside]
    said = (made.stdout.strip().splitlines() or ["nothing"])[-1]
    if bare.returncode != 0:
        raise SetupRefused(f"The environment {environment} could not be made; Python said: {said}")
    raise SetupRefused(
        "This Python comes without pip. On Debian or Ubuntu: apt install python3-venv; then run this again."
    )


def install(pip: list[str], lock: Path) -> None:
    """Install what `lock` names, by hash, telling how far it is.

    Raises SetupRefused with pip's own last complaint.
    """
    total = lock.read_text(encoding="utf-8").count("==")
    clean = {key: value for key, value in os.environ.items() if key not in PIP_DETOURS}
    command = [*pip, "install", "--disable-pip-version-check", "--no-input", "--require-hashes", "-r", str(lock)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=clean)
    assert process.stdout is not None
    collected, complaint = 0, "nothing"
    for line in process.stdout:
        if line.startswith("Collecting "):
            collected += 1
            if sys.stdout.isatty():
                print(f"\r  part {min(collected, total)} of about {total} ", end="", flush=True)
        elif line.startswith("Installing collected"):
            print(("\r" if sys.stdout.isatty() else "") + "  all fetched, unpacking       ", flush=True)
        elif "ERROR" in line:
            complaint = line.strip()
    if process.wait() != 0:
        raise SetupRefused(
            f"The parts could not be installed; pip said: {complaint}. "
            "Look at the network connection and the free room on the disk, then run this again."
        )


def set_up(command: str) -> Path:
    """Make sure that an environment for `command` stands; return its Python. Safe to repeat and to interrupt."""
    serving = {mark_of(lock) for lock in locks_that_serve(command)}
    if installed_mark(ENVIRONMENT) in serving:
        return environment_python(ENVIRONMENT)
    with one_at_a_time(ROOT / ".venv.lock"):
        found = installed_mark(ENVIRONMENT)
        if found in serving:  # the start we waited for has done it
            return environment_python(ENVIRONMENT)
        lock = locks_that_serve(command)[0]
        if found == mark_of(RUN_LOCK):  # the test lock agrees with it: add to it, a running shop is not disturbed
            pip = [str(environment_python(ENVIRONMENT)), "-m", "pip"]
            if run_quietly(*pip, "--version").returncode != 0:
                pip = [sys.executable, "-m", "pip", "--python", str(environment_python(ENVIRONMENT))]
        else:
            print("Setting up: 1 of 2, an environment of its own in .venv", flush=True)
            pip = make_environment(ENVIRONMENT)
        print(f"Setting up: 2 of 2, the parts in {lock.relative_to(ROOT)} (up to a minute or two)", flush=True)
        install(pip, lock)
        (ENVIRONMENT / "installed").write_text(mark_of(lock), encoding="ascii")
        print("Set up.", flush=True)
    return environment_python(ENVIRONMENT)


def stands_in_an_environment() -> bool:
    """Tell whether we run in an environment already, ours or one that somebody chose."""
    return sys.prefix != sys.base_prefix or bool(os.environ.get("VIRTUAL_ENV"))


def bootstrap(arguments: list[str]) -> None:
    """Start again in `.venv` unless we are in an environment already. Does not return if it starts again."""
    refusal = version_refusal(sys.version_info[:3], sys.executable)
    if refusal:
        sys.exit(refusal)
    if stands_in_an_environment():
        return
    try:
        python = str(set_up(arguments[1] if len(arguments) > 1 else "help"))
    except SetupRefused as refused:
        sys.exit(str(refused))
    except OSError as problem:
        sys.exit(f"Setting up stopped: {problem}. This folder must be writable, with about 1 GB free.")
    except KeyboardInterrupt:
        sys.exit("\nStopped. Run this again to go on.")
    sys.stdout.flush()
    if os.name == "nt":
        sys.exit(subprocess.call([python, *arguments]))
    os.execv(python, [python, *arguments])


def main() -> None:
    """Set up if needed, then hand over to Django."""
    bootstrap([str(Path(__file__).resolve()), *sys.argv[1:]])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    if sys.argv[1:2] == ["demo"]:
        # The made-up shop lives apart from one's own.
        os.environ.setdefault("GRITLEDGER_DATA", str(ROOT / ".local" / "demo"))
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            f"Django is missing from the environment {sys.prefix}. Leave that environment, or install the parts into "
            f"it: pip install --require-hashes -r {RUN_LOCK.relative_to(ROOT)}"
        )
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
