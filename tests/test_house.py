"""The house itself: its top level, its templates, its start (manage.py) and the locks on its ledgers."""

import multiprocessing
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

import manage
from inventory import ledger_locks
from tests.conftest import is_loopback

ROOT = Path(__file__).resolve().parent.parent
LONGEST_FILE = 450
LONGEST_TEST = 600
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "pyproject.toml",
    "inventory",
    "jobs",
    "templates",
    "tests",
    "fixtures",
    "config",
}


def tracked(*patterns: str) -> list[Path]:
    """Return the files that git keeps or would keep (not ignored), by pattern."""
    if shutil.which("git") is None:
        pytest.skip("git is not installed: nothing says which files belong to the project")
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "--", *patterns],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode != 0:
        pytest.skip("not a git checkout: nothing says which files belong to the project")
    return [ROOT / line for line in listed.stdout.splitlines() if (ROOT / line).is_file()]


# --- files ---


def test_the_top_level_is_the_one_agreed_on() -> None:
    top = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_no_file_has_grown_past_its_room() -> None:
    long = {}
    for path in tracked("*.py", "*.html", "*.js", "*.css"):
        lines = len(path.read_text(encoding="utf-8").splitlines())
        if "migrations" not in path.parts and lines > (
            LONGEST_TEST if path.is_relative_to(ROOT / "tests") else LONGEST_FILE
        ):
            long[str(path.relative_to(ROOT))] = lines
    assert long == {}


def test_no_third_party_code_lies_in_the_repository() -> None:
    suspects = []
    for path in tracked("*.js", "*.mjs", "*.css", "*.py", "*.woff", "*.woff2", "*.ttf", "*.whl", "*.map", "*.wasm"):
        name = str(path.relative_to(ROOT))
        if re.search(r"(\.min\.(js|css)|\.map|\.woff2?|\.ttf|\.whl|\.wasm)$|(^|/)(vendor|node_modules|lib)/", name):
            suspects.append(name)
        elif path.suffix in (".js", ".mjs", ".css"):
            text = path.read_text(encoding="utf-8")
            minified = max(map(len, text.splitlines()), default=0) > 400
            if minified or re.search(r"@license|copyright|\bMIT License\b|sourceMappingURL", text, re.IGNORECASE):
                suspects.append(name)
    assert suspects == []


INLINE = {
    "a style attribute": re.compile(r"<[^>]*\sstyle\s*=", re.IGNORECASE),
    "a style element": re.compile(r"<style\b", re.IGNORECASE),
    "an event attribute": re.compile(r"<[^>]*\son[a-z]+\s*=", re.IGNORECASE),
    "an hx-on attribute": re.compile(r"hx-on", re.IGNORECASE),
    "a javascript address": re.compile(r"javascript:", re.IGNORECASE),
}
SCRIPT = re.compile(r"<script\b([^>]*)>", re.IGNORECASE)


def inline_in(text: str) -> list[str]:
    """Return what in a template the content security policy would block."""
    text = re.sub(r"{%.*?%}|{{.*?}}", "", text)
    found = [name for name, pattern in INLINE.items() if pattern.search(text)]
    if any("src=" not in attributes and "application/json" not in attributes for attributes in SCRIPT.findall(text)):
        found.append("an inline script")
    return found


def test_no_template_holds_script_or_style() -> None:
    found = {}
    for path in tracked("*.html", "*.svg"):
        if inline := inline_in(path.read_text(encoding="utf-8")):
            found[str(path.relative_to(ROOT))] = inline
    assert found == {}


def test_the_reader_of_templates_sees_each_kind() -> None:
    assert inline_in('<p class="a" style="x">') == ["a style attribute"]
    assert inline_in("<style>p{}</style>") == ["a style element"]
    assert inline_in('<a\n onclick="x()">') == ["an event attribute"]
    assert inline_in("<script>x()</script>") == ["an inline script"]
    assert inline_in('<script src="{% static "a.js" %}" defer></script><button data-on="1">') == []


# --- the start ---


def test_an_old_python_is_refused_in_one_sentence() -> None:
    assert manage.version_refusal((3, 9, 2), "/usr/bin/python3") == (
        "Gritledger needs Python 3.11 or newer; /usr/bin/python3 is 3.9.2. Run this with a newer one."
    )
    assert manage.version_refusal((3, 11, 0), "python3") is None
    assert manage.version_refusal((4, 0, 0), "python3") is None


def test_only_the_tests_need_the_test_lock() -> None:
    assert manage.locks_that_serve("test") == [manage.TEST_LOCK]
    for command in ("demo", "migrate", "runserver", "help"):
        assert manage.locks_that_serve(command) == [manage.RUN_LOCK, manage.TEST_LOCK]


def test_the_mark_follows_the_lock_and_the_python(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lock = tmp_path / "lock.txt"
    lock.write_text("a==1")
    first = manage.mark_of(lock)
    assert manage.mark_of(lock) == first
    lock.write_text("a==2")
    assert manage.mark_of(lock) != first
    second = manage.mark_of(lock)
    monkeypatch.setattr(sys, "version", "another")
    assert manage.mark_of(lock) != second


def test_an_environment_without_its_mark_or_its_python_does_not_count(tmp_path: Path) -> None:
    assert manage.installed_mark(tmp_path) == ""
    (tmp_path / "installed").write_text("abc")
    assert manage.installed_mark(tmp_path) == ""
    python = manage.environment_python(tmp_path)
    python.parent.mkdir()
    python.touch()
    assert manage.installed_mark(tmp_path) == "abc"


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty house with two locks; making an environment and installing are only written down in `log`."""
    for name in ("run", "test"):
        (tmp_path / ".lock").mkdir(exist_ok=True)
        (tmp_path / ".lock" / f"{name}.txt").write_text(f"{name}==1")
        monkeypatch.setattr(manage, f"{name.upper()}_LOCK", tmp_path / ".lock" / f"{name}.txt")
    monkeypatch.setattr(manage, "ROOT", tmp_path)
    monkeypatch.setattr(manage, "ENVIRONMENT", tmp_path / ".venv")
    log = tmp_path / "log"
    log.touch()

    def make_environment(environment: Path) -> list[str]:
        python = manage.environment_python(environment)
        python.parent.mkdir(parents=True, exist_ok=True)
        python.touch()
        (environment / "installed").unlink(missing_ok=True)
        with log.open("a") as file:
            file.write("made ")
        return [str(python), "-m", "pip"]

    def install(pip: list[str], lock: Path) -> None:
        time.sleep(0.05)
        with log.open("a") as file:
            file.write(f"{lock.stem} ")

    monkeypatch.setattr(manage, "make_environment", make_environment)
    monkeypatch.setattr(manage, "install", install)
    monkeypatch.setattr(manage, "run_quietly", lambda *command: subprocess.CompletedProcess(command, 0, "", ""))
    return tmp_path


def test_demo_then_test_then_demo_installs_each_lock_once(house: Path) -> None:
    for command in ("demo", "demo", "migrate", "test", "test", "demo"):
        manage.set_up(command)
    assert (house / "log").read_text() == "made run test "


def test_demo_runs_in_an_environment_made_for_the_tests(house: Path) -> None:
    manage.set_up("test")
    manage.set_up("demo")
    assert (house / "log").read_text() == "made test "


def test_a_changed_lock_makes_the_environment_anew(house: Path) -> None:
    manage.set_up("test")
    manage.TEST_LOCK.write_text("test==2")
    manage.set_up("test")
    assert (house / "log").read_text() == "made test made test "


def test_a_start_that_died_while_installing_is_not_taken_for_done(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    install = manage.install

    def broken(pip: list[str], lock: Path) -> None:
        raise manage.SetupRefused("The parts could not be installed")

    monkeypatch.setattr(manage, "install", broken)
    with pytest.raises(manage.SetupRefused):
        manage.set_up("demo")
    monkeypatch.setattr(manage, "install", install)
    manage.set_up("demo")
    assert (house / "log").read_text() == "made made run "


def test_two_starts_at_once_set_up_once(house: Path) -> None:
    starts = [multiprocessing.get_context("fork").Process(target=manage.set_up, args=("demo",)) for _ in range(2)]
    for start in starts:
        start.start()
    for start in starts:
        start.join(20)
    assert [start.exitcode for start in starts] == [0, 0]
    assert (house / "log").read_text() == "made run "


def test_an_active_environment_is_left_alone(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "base_prefix", sys.prefix)
    monkeypatch.setenv("VIRTUAL_ENV", "/somewhere")
    manage.bootstrap(["manage.py", "demo"])
    assert (house / "log").read_text() == ""


def test_outside_of_an_environment_it_starts_again_inside(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "base_prefix", sys.prefix)
    monkeypatch.delenv("VIRTUAL_ENV", raising=False)
    started: list[tuple[str, list[str]]] = []
    monkeypatch.setattr(manage.os, "execv", lambda python, arguments: started.append((python, arguments)))
    manage.bootstrap(["manage.py", "demo", "--port", "8001"])
    python = str(house / ".venv" / "bin" / "python")
    assert started == [(python, [python, "manage.py", "demo", "--port", "8001"])]


def test_a_python_without_pip_is_told_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def run(*command: str) -> subprocess.CompletedProcess[str]:
        return subprocess.CompletedProcess(command, 0 if "--without-pip" in command else 1, "no ensurepip", "")

    monkeypatch.setattr(manage, "run_quietly", run)
    with pytest.raises(manage.SetupRefused, match=r"apt install python3-venv; then run this again\.$"):
        manage.make_environment(tmp_path / ".venv")


def pins(lock: str) -> dict[str, str]:
    """Return what a lock's text pins, as "name==version" -> what follows it on the line."""
    return dict(re.findall(r"^([^\s#]+==[^\s;]+)(.*)$", lock, re.MULTILINE))


def test_the_locks_hold_hashes_and_no_address() -> None:
    run, test = (lock.read_text(encoding="utf-8") for lock in (manage.RUN_LOCK, manage.TEST_LOCK))
    for text in (run, test):
        assert "://" not in text
        assert pins(text)
        assert all(rest.endswith("\\") for rest in pins(text).values())  # a hash follows
    assert set(pins(run)) <= set(pins(test))


# --- settings ---


def test_tests_never_leave_the_machine() -> None:
    assert is_loopback(("127.0.0.1", 80))
    assert is_loopback(("::1", 80, 0, 0))
    assert is_loopback("/tmp/socket")
    assert not is_loopback(("192.0.2.1", 80))  # TEST-NET-1 of RFC 5737
    assert not is_loopback(("shop.example", 443))


def test_no_model_is_without_its_migration(db: None) -> None:
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)


# --- ledgers ---


def ledger_models() -> list:
    """Return the append-only models."""
    return [model for model in apps.get_models() if getattr(model, "append_only", False)]


def test_there_are_ledgers_in_both_apps() -> None:
    assert {model._meta.app_label for model in ledger_models()} == {"inventory", "jobs"}


def test_every_ledger_table_has_its_triggers(db: None) -> None:
    assert ledger_locks.ledger_tables() == sorted(model._meta.db_table for model in ledger_models())
    assert ledger_locks.missing_locks() == []


def test_a_missing_trigger_is_noticed_and_put_back(db: None) -> None:
    table = ledger_locks.ledger_tables()[0]
    ledger_locks.unlock()
    assert {name.split(".")[0] for name in ledger_locks.missing_locks()} == set(ledger_locks.ledger_tables())
    ledger_locks.lock()
    ledger_locks.lock()
    assert ledger_locks.missing_locks() == []
    assert len(ledger_locks.trigger_names(table, connection.vendor)) == 2


@pytest.fixture
def scratch_ledger(db: None, monkeypatch: pytest.MonkeyPatch) -> str:
    """A small table of one row, locked as a ledger is; it is gone with the test's transaction."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE scratch_ledger (id integer PRIMARY KEY, amount integer)")
        cursor.execute("INSERT INTO scratch_ledger VALUES (1, 10)")
    monkeypatch.setattr(ledger_locks, "ledger_tables", lambda: ["scratch_ledger"])
    ledger_locks.lock()
    return "scratch_ledger"


CHANGES = [
    "UPDATE {table} SET amount = 11",
    "DELETE FROM {table}",
    "INSERT INTO {table} VALUES (1, 11) ON CONFLICT (id) DO UPDATE SET amount = 11",
]
CHANGES_OF = {"sqlite": ["INSERT OR REPLACE INTO {table} VALUES (1, 11)"], "postgresql": ["TRUNCATE {table}"]}


def test_a_ledger_takes_new_rows_and_refuses_every_change(scratch_ledger: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO scratch_ledger VALUES (2, 20)")
        for change in CHANGES + CHANGES_OF[connection.vendor]:
            with pytest.raises(IntegrityError, match="scratch_ledger is a ledger"), transaction.atomic():
                cursor.execute(change.format(table=scratch_ledger))
        cursor.execute("SELECT id, amount FROM scratch_ledger ORDER BY id")
        assert cursor.fetchall() == [(1, 10), (2, 20)]


@pytest.mark.django_db(transaction=True)
def test_the_triggers_come_back_after_a_flush() -> None:
    ledger_locks.unlock()
    call_command("flush", interactive=False, verbosity=0)
    assert ledger_locks.missing_locks() == []
