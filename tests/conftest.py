"""What every test stands on: a fast hasher, ledgers that may be flushed, no network, a real browser on request."""

import ipaddress
import os
import shutil
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from django.conf import settings
from django.test import Client, TransactionTestCase
from django.utils import timezone, translation
from hypothesis import HealthCheck
from hypothesis import settings as law

from inventory import ledger_locks

# A busy machine is no failure of a law. In CI the examples are the same each time, so that main stays as it was found.
law.register_profile(
    "house",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    derandomize=bool(os.environ.get("CI")),
)
law.load_profile("house")

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",  # CI runs as root
    "--disable-gpu",
    "--disable-background-networking",
    "--no-first-run",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
]
LOCAL_NAMES = ("localhost", "")


def pytest_configure(config: pytest.Config) -> None:
    """Make the tests' settings cheap: argon2 wants 100 MB a check, and no test cares for a power cut."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    options = settings.DATABASES["default"].get("OPTIONS", {})
    if "init_command" in options:
        options["init_command"] = options["init_command"].replace("synchronous=FULL", "synchronous=OFF")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is in tests/browser and run it last."""
    browser_tests = Path(__file__).parent / "browser"
    for item in items:
        if browser_tests in item.path.parents:
            item.add_marker(pytest.mark.browser)
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)


@pytest.fixture(scope="session", autouse=True)
def _ledgers_open_for_the_flush() -> Iterator[None]:
    """Take the ledgers' triggers off while a TransactionTestCase empties the tables, then put them back."""
    teardown = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def unlocked_teardown(self: Any) -> None:
        names = self._databases_names(include_mirrors=False)
        for name in names:
            ledger_locks.unlock(name)
        try:
            teardown(self)
        finally:
            for name in names:
                ledger_locks.lock(name)

    with mock.patch.object(TransactionTestCase, "_fixture_teardown", unlocked_teardown):
        yield


@pytest.fixture(autouse=True)
def _english_first() -> Iterator[None]:
    """Let no test inherit the language or the time zone that another one chose."""
    with translation.override(settings.LANGUAGE_CODE), timezone.override(None):
        yield


def is_loopback(address: Any) -> bool:
    """Tell whether a socket address stays on this machine."""
    if not isinstance(address, tuple):
        return True  # a path: a socket of this machine
    try:
        return ipaddress.ip_address(address[0]).is_loopback
    except ValueError:
        return address[0] in LOCAL_NAMES


@pytest.fixture(scope="session", autouse=True)
def _no_network() -> Iterator[None]:
    """Refuse every connection that leaves this machine."""
    connect, connect_ex = socket.socket.connect, socket.socket.connect_ex

    def refuse(address: Any) -> None:
        if not is_loopback(address):
            raise AssertionError(f"A test reached for the network: {address!r}. Tests use this machine only.")

    def guarded_connect(self: socket.socket, address: Any) -> None:
        refuse(address)
        connect(self, address)

    def guarded_connect_ex(self: socket.socket, address: Any) -> int:
        refuse(address)
        return connect_ex(self, address)

    with (
        mock.patch.object(socket.socket, "connect", guarded_connect),
        mock.patch.object(socket.socket, "connect_ex", guarded_connect_ex),
    ):
        yield


def chromium_path() -> str | None:
    """Return where Chromium is, or None."""
    if Path("/usr/bin/chromium").exists():
        return "/usr/bin/chromium"
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A real Chromium, started once. Skips, saying so, where there is none; in CI that is a failure."""
    path = chromium_path()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing; .ci/run should have installed it.")
        pytest.skip("Chromium is not installed (Debian or Ubuntu: apt install chromium); browser tests need it")
    from playwright.sync_api import sync_playwright

    # Playwright's own loop makes Django refuse the ORM beside it; our tests take turns, so it is safe here.
    with mock.patch.dict(os.environ, DJANGO_ALLOW_ASYNC_UNSAFE="true"), sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page of a phone's size in a context of its own; a script's error or a blocked resource fails the test."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, locale="en-US")
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on(
        "console",
        lambda message: problems.append(message.text) if "Content Security Policy" in message.text else None,
    )
    yield page
    context.close()
    assert problems == []


@pytest.fixture
def sign_in(page: Any, client: Client, live_server: Any) -> Callable[[Any], Any]:
    """A function that signs a person in on `page`, past the form, and returns the page."""

    def signed_in(person: Any) -> Any:
        client.force_login(person)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME]
        page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])
        return page

    return signed_in


@pytest.fixture
def clock_at_now() -> Iterator[None]:
    """The shop's clock stands at the cast's NOW: Wednesday 14 May 2025, 09:50 in Chicago."""
    from tests.cast import NOW

    with mock.patch("django.utils.timezone.now", return_value=NOW):
        yield
