"""`manage.py start`, where somebody begins, and the serving behind both."""

from __future__ import annotations

import re
import socket
from io import StringIO
from unittest import mock

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from inventory import serving
from inventory.actions.first_run import begin_shop
from inventory.actions.people import PersonWords
from inventory.models import FirstRunCode
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


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


def test_everybody_begins_where_their_rights_lead(client: Client) -> None:
    cast = make_cast()
    for person in (cast.ines, cast.dag, cast.teo, cast.ruta, cast.olga, cast.nils):
        client.force_login(person)
        answer = client.get("/")
        assert answer.status_code == 302
        assert answer["Location"] != "/"
        assert client.get(answer["Location"]).status_code == 200, (person.name, answer["Location"])
