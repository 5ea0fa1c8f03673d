"""`manage.py start`, where somebody begins, and the serving behind both."""

from __future__ import annotations

import re
import socket
from io import StringIO
from unittest import mock

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from inventory import serving
from inventory.actions.first_run import begin_shop
from inventory.actions.people import PersonWords
from inventory.models import FirstRunCode
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def apart(settings, tmp_path) -> None:
    """A folder of its own for what a start keeps, and settings put back after it."""
    settings.DATA_DIR = tmp_path
    settings.SERVED_BY, settings.SERVED_TO = "", []


def start(*options: str) -> tuple[str, tuple[str, int]]:
    """What the command says, and where it would have served."""
    said = StringIO()
    with mock.patch.object(serving, "serve") as serve, mock.patch.object(serving, "make_ready"):
        call_command("start", *options, stdout=said)
    return said.getvalue(), serve.call_args.args


def test_an_empty_shop_is_told_its_code_and_only_the_hash_is_kept() -> None:
    said, (host, port) = start()
    code = re.search(r"code ([0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}):", said)
    assert code is not None
    assert f"http://127.0.0.1:{port}/first-run/?code={code[1]}" in said
    assert host == "127.0.0.1"
    assert code[1].replace("-", "") not in FirstRunCode.objects.get().code_hash


def test_the_printed_code_begins_the_shop_and_is_printed_no_more() -> None:
    from django.utils import timezone

    code = re.search(r"code (\S+):", start()[0])
    assert code is not None
    owner = PersonWords("ines", "Ines O.", frozenset(), password="polish before noon")
    begin_shop(code[1], shop="Mill", time_zone="UTC", currency="EUR", owner=owner, now=timezone.now())
    said, _where = start()
    assert "Your shop is at http://127.0.0.1:" in said
    assert "code" not in said


def test_a_taken_port_is_passed_over_or_refused_when_it_was_wanted() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert serving.free_port("127.0.0.1", port) > port
        with pytest.raises(CommandError, match=f"127.0.0.1:{port} cannot be listened at"):
            start("--port", str(port))


def test_other_machines_are_let_in_by_name(settings) -> None:
    said, (host, _port) = start("--to", "shop.local")
    assert host == "0.0.0.0"
    assert "http://shop.local:" in said
    assert "shop.local" in settings.ALLOWED_HOSTS


def test_the_port_used_last_is_taken_again_because_labels_hold_it() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    assert start("--port", str(port))[1] == ("127.0.0.1", port)
    assert start()[1] == ("127.0.0.1", port)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        said, (_host, other) = start()
        assert other != port
        assert f"Port {port}, used last, is taken" in said
    # It stays the one of the labels: free again, it is taken again.
    assert start()[1] == ("127.0.0.1", port)


def test_another_port_on_purpose_says_what_becomes_of_the_labels(settings, tmp_path) -> None:
    (tmp_path / "port").write_text("8999\n")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    said, where = start("--port", str(port))
    assert where == ("127.0.0.1", port)
    assert "It was port 8999 until now: labels printed with 8999 open nothing here." in said
    (tmp_path / "port").write_text("no number")
    assert start()[1][1] >= 8000


def test_a_plain_start_says_how_phones_reach_it(settings) -> None:
    said, (_host, port) = start()
    assert f"python3 manage.py start --to NAME --port {port}" in said
    assert "manage.py" not in start("--to", "shop.local")[0]


@pytest.mark.parametrize("page", ["inventory:first_shop", "inventory:labels_address"])
def test_first_run_and_address_page_show_the_command_that_lets_phones_in(client: Client, settings, page: str) -> None:
    cast = make_cast()
    settings.ALLOWED_HOSTS, settings.SERVED_BY = ["127.0.0.1", "localhost"], "start"
    client.force_login(cast.olga)
    client.defaults["HTTP_HOST"] = "127.0.0.1:8022"
    url = reverse(page)
    with mock.patch("inventory.views.label_address.gethostname", return_value="Shop-Desk"):
        said = client.get(url).content.decode()
    assert "<code>python3 manage.py start --to shop-desk --port 8022</code>" in said
    # The name was typed: the same line with that name, and no waiting for a phone that cannot come.
    client.post(reverse("inventory:label_address"), {"address": "Shop-Desk.local:8022"})
    said = client.get(url).content.decode()
    assert "does not answer to shop-desk.local" in said
    assert "<code>python3 manage.py start --to shop-desk.local --port 8022</code>" in said
    assert "http://shop-desk.local:8022" in said
    assert "SHOP-DESK" not in said
    assert "Waiting for a phone" not in said
    # Started so: the square is there to be tried.
    settings.ALLOWED_HOSTS = ["127.0.0.1", "shop-desk.local"]
    said = client.get(url).content.decode()
    assert "Waiting for a phone" in said
    assert "<code>python3 manage.py start" not in said


def test_an_address_with_another_port_is_said_where_it_is_printed_all_the_same(client: Client, settings) -> None:
    cast = make_cast()
    settings.ALLOWED_HOSTS, settings.SERVED_BY = ["127.0.0.1", "shop.local"], "start"
    client.force_login(cast.ines)
    client.defaults["HTTP_HOST"] = "127.0.0.1:8022"
    client.post(reverse("inventory:labels_address"), {"do": "take", "address": "shop.local"})
    said = client.get(reverse("inventory:labels")).content.decode()
    assert "The shop is served at port 8022" in said
    assert "shop.local:8022" in said
    client.post(reverse("inventory:labels_address"), {"do": "take", "address": "other.local:8022"})
    assert "does not answer to other.local" in client.get(reverse("inventory:labels")).content.decode()


def test_a_shop_started_for_others_proposes_the_name_they_use(client: Client, settings) -> None:
    cast = make_cast()
    settings.ALLOWED_HOSTS, settings.SERVED_BY = ["127.0.0.1", "shop.local"], "start"
    settings.SERVED_TO = ["shop.local"]
    client.force_login(cast.olga)
    client.defaults["HTTP_HOST"] = "127.0.0.1:8022"
    assert 'value="http://shop.local:8022"' in client.get(reverse("inventory:first_shop")).content.decode()


def test_everybody_begins_where_their_rights_lead(client: Client) -> None:
    cast = make_cast()
    for person in (cast.ines, cast.dag, cast.teo, cast.ruta, cast.olga, cast.nils):
        client.force_login(person)
        answer = client.get("/")
        assert answer.status_code == 302
        assert answer["Location"] != "/"
        assert client.get(answer["Location"]).status_code == 200, (person.name, answer["Location"])
