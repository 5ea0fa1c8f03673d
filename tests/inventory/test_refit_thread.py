"""Working lives out anew, whole: the page's own thread with a connection of its own, on a database in a file."""

from __future__ import annotations

import time
from collections.abc import Callable
from threading import Event
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions import refitting
from inventory.models import LearntFloors, LearntLife, RefitRun
from inventory.views import refit as refit_views
from tests.cast import make_cast, make_place, make_set, make_type
from tests.inventory.test_estimate import wear_out, worked

pytestmark = pytest.mark.django_db(transaction=True)


def wait_until(so: Callable[[], bool], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not so():
        assert time.monotonic() < end, "It was not done in time."
        time.sleep(0.05)


def test_a_run_goes_on_behind_the_page_refuses_another_and_is_seen_to_its_end(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The run is held after its first word, so that the page is asked while it goes on; nothing else is made up."""
    cast, tool_type = make_cast(), make_type()
    for number in range(3):
        wear_out(cast, tool_type, 3500 + 300 * number, number + 1)
    used = make_set(cast, tool_type, make_place(cast.branch), code="GL-7K2M46")
    worked(cast, used, 800, 1, 60)
    go_on, learn = Event(), refitting.refit

    def held(*, progress: Callable[[str, int, int], None], **more: Any) -> Any:
        def say(what: str, done: int, of: int) -> None:
            progress(what, done, of)
            assert go_on.wait(60)

        return learn(progress=say, **more)

    monkeypatch.setattr(refitting, "refit", held)
    monkeypatch.setattr(refit_views, "WAITED_SECONDS", 0.05)
    client.force_login(cast.olga)
    state = reverse("inventory:refit_state")
    try:
        page = client.post(reverse("inventory:refit_all"), follow=True)
        wait_until(lambda: RefitRun.objects.get().what == "floors")
        assert page.context["run"]["going"]
        assert "HX-Refresh" not in client.get(state)
        again = client.post(reverse("inventory:refit_type", args=[tool_type.pk]), follow=True)
        (message,) = again.context["messages"]
        assert str(message).startswith("It is being worked out already.")
    finally:
        go_on.set()
    wait_until(lambda: client.get(state).get("HX-Refresh") == "true")
    run = RefitRun.objects.get()
    assert (run.failure, run.types, run.sets, run.asked_by) == ("", 1, 4, cast.olga)
    assert LearntFloors.objects.get().fitted_at >= run.begun_at
    assert LearntLife.objects.get().worn_out == 3
    words = client.get(reverse("inventory:refit")).context["run"]["words"]
    assert "1 tool type and 4 sets" in words


def test_a_run_that_fails_behind_the_page_says_so_on_it(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    cast = make_cast()
    make_set(cast, make_type(), make_place(cast.branch))

    def fails(**more: Any) -> Any:
        raise RuntimeError("no floor under it")

    monkeypatch.setattr(refitting, "refit", fails)
    client.force_login(cast.olga)
    client.post(reverse("inventory:refit_all"))
    wait_until(lambda: RefitRun.objects.get().ended_at is not None)
    run = client.get(reverse("inventory:refit")).context["run"]
    assert run["failed"]
    assert "no floor under it" in run["words"]
