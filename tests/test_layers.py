"""The import directions of DESIGN 7, read from the code itself.

`inventory` knows nothing of `jobs`; numerics know no Django and no clock; rules know no pages. Function-level
imports count as well: a direction is a direction.
"""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APPS = ("inventory", "jobs")

# (where, what it must not import, why); a name covers everything below it
RULES = [
    ("inventory", ["jobs"], "inventory is used by jobs and knows nothing of it"),
    ("{app}/numerics", ["django", "inventory.models", "jobs.models", "time"], "numerics are arrays in, out"),
    ("inventory/ledger", ["django", "inventory.models", "inventory.queries", "time"], "the state is a pure function"),
    ("{app}/models", ["{app}.actions", "{app}.queries", "{app}.views", "{app}.forms"], "models are the ground"),
    ("{app}/actions", ["{app}.views", "{app}.forms", "django.http", "django.shortcuts"], "actions know no pages"),
    ("{app}/queries", ["{app}.views", "{app}.forms", "{app}.actions", "django.http"], "queries only read"),
    # Forms speak the actions' words (heights, drafts, parts) but never do anything: views act.
    ("{app}/forms", ["{app}.views"], "forms read input, views act"),
    ("config", ["inventory.actions", "jobs.actions", "inventory.models", "jobs.models"], "config holds no rules"),
]
PAGES = ("views", "management", "apps.py", "admin.py")  # the only places that may read the clock
CLOCKS = {"timezone.now", "datetime.now", "datetime.utcnow", "date.today", "time.time", "timezone.localdate"}


def module_name(path: Path) -> str:
    """Return the dotted name of a file below ROOT."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(source: str, module: str, is_package: bool) -> set[str]:
    """Return every dotted name that the source of `module` imports, names out of packages included."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = module.split(".") if is_package else module.split(".")[:-1]
                above = above[: len(above) - node.level + 1]
                base = ".".join([*above, *([node.module] if node.module else [])])
            found.add(base)
            found.update(f"{base}.{alias.name}" for alias in node.names)
    return found


def forbidden(imported: set[str], names: list[str]) -> list[str]:
    """Return the imported names that are one of `names` or lie below one."""
    return sorted(i for i in imported if any(i == name or i.startswith(name + ".") for name in names))


def python_files(folder: Path) -> list[Path]:
    """Return the Python files below a folder, migrations left out."""
    return sorted(p for p in folder.rglob("*.py") if "migrations" not in p.parts and "__pycache__" not in p.parts)


def spelled_out() -> list[tuple[str, list[str], str]]:
    """Return RULES with {app} replaced by each app."""
    rules = []
    for where, names, why in RULES:
        for app in APPS if "{app}" in where else ("",):
            rules.append((where.format(app=app), [name.format(app=app) for name in names], why))
    return rules


@pytest.mark.parametrize(("where", "names", "why"), spelled_out())
def test_imports_point_downwards(where: str, names: list[str], why: str) -> None:
    files = python_files(ROOT / where)
    assert files, f"{where} is empty: has it moved?"
    found = {}
    for path in files:
        imported = imports_of(path.read_text(encoding="utf-8"), module_name(path), path.name == "__init__.py")
        if wrong := forbidden(imported, names):
            found[str(path.relative_to(ROOT))] = wrong
    assert found == {}, why


def clock_readings(source: str) -> list[str]:
    """Return the calls in a source that read the clock, with their lines."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if ".".join(called.split(".")[-2:]) in CLOCKS:
                found.append(f"{called} in line {node.lineno}")
    return found


@pytest.mark.parametrize("app", APPS)
def test_only_views_and_commands_read_the_clock(app: str) -> None:
    found = {}
    for path in python_files(ROOT / app):
        if path.relative_to(ROOT / app).parts[0] not in PAGES and (
            readings := clock_readings(path.read_text(encoding="utf-8"))
        ):
            found[str(path.relative_to(ROOT))] = readings
    assert found == {}


def test_the_reader_of_imports_sees_every_form() -> None:
    source = "import jobs.models\nfrom . import views\nfrom ..forms import kit\ndef f():\n    from django import http\n"
    assert imports_of(source, "inventory.actions.custody", is_package=False) >= {
        "jobs.models",
        "inventory.actions.views",
        "inventory.forms.kit",
        "django.http",
    }
    assert forbidden({"jobs.models", "jobsite"}, ["jobs"]) == ["jobs.models"]


def test_the_reader_of_clocks_sees_a_clock() -> None:
    assert clock_readings("from django.utils import timezone\nnow = timezone.now()") == ["timezone.now in line 2"]
    assert clock_readings("import datetime\nd = datetime.date.today()") == ["datetime.date.today in line 2"]
    assert clock_readings("stamp = act.now()") == []
