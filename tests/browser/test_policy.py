"""The content security policy as Chromium applies it (W3C, Content Security Policy Level 3)."""

from typing import Any

import pytest
from pytest_django.live_server_helper import LiveServer


@pytest.mark.urls("tests.browser.policy_urls")
def test_chromium_runs_our_scripts_and_nothing_inline(live_server: LiveServer, browser: Any) -> None:
    page = browser.new_page()
    response = page.goto(f"{live_server.url}/policy")
    assert response.status == 200
    assert "default-src 'none'" in response.headers["content-security-policy"]
    assert page.title() == "Policy"
    assert page.evaluate("document.documentElement.dataset.nonce") == "ran"
    assert page.evaluate("typeof htmx") == "object"
    style = "getComputedStyle(document.querySelector('p'))"
    assert page.evaluate(f"[{style}.letterSpacing, {style}.wordSpacing]") == ["normal", "0px"]
    page.close()


def test_a_browser_in_the_tests_reaches_no_other_machine(browser: Any) -> None:
    page = browser.new_page()
    with pytest.raises(Exception, match="ERR_NAME_NOT_RESOLVED"):
        page.goto("http://shop.example/")
    page.close()
