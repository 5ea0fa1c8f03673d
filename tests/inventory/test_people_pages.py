"""Signing in, the first run, people and devices: their doors, and what they keep."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core import signing
from django.db.models import F
from django.test import Client
from django.urls import reverse

from inventory.actions import people
from inventory.actions.first_run import confirm_address, make_code, phone_word, propose_address
from inventory.actions.people import NobodyLeft, PasswordRefused, PersonRefused, PersonWords, save_person
from inventory.codes import only_this_computer
from inventory.models import Branch, Device, Person, ToolType
from inventory.refusals import Refused
from inventory.rights import BUNDLES, Bundle, Right
from inventory.views.doors import DEVICE_COOKIE, IDLE_SECONDS
from tests.cast import NOW, make_branch, make_cast, make_person, make_place, make_set, make_type

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast()


def on_device(client: Client, device: Device) -> Client:
    """A browser that is this device."""
    client.cookies[DEVICE_COOKIE] = signing.get_cookie_signer(salt=DEVICE_COOKIE + DEVICE_COOKIE).sign(str(device.pk))
    return client


@pytest.fixture
def tablet(client: Client, cast) -> Client:
    shared = Device.objects.create(name="Tablet at rack B", branch=cast.branch, first_seen_at=NOW, shared=True)
    return on_device(client, shared)


# --- signing in ---


def test_a_password_opens_the_page_that_was_asked_for(client: Client, cast) -> None:
    asked = client.get(reverse("inventory:me"))
    assert asked.status_code == 302
    assert asked["Location"] == "/sign-in/?next=/me/"
    answer = client.post(asked["Location"], {"username": " Ines", "password": "ines", "next": "/me/"})
    assert (answer.status_code, answer["Location"]) == (302, "/me/")
    assert client.get("/me/").status_code == 200


@pytest.mark.parametrize("there", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_the_next_page_is_one_of_ours(client: Client, cast, there: str) -> None:
    answer = client.post("/sign-in/", {"username": "ines", "password": "ines", "next": there})
    assert answer["Location"] == "/"


def test_nothing_of_a_set_shows_before_the_sign_in(client: Client, cast) -> None:
    page = client.get("/sign-in/?next=/s/GL-7K2M46")
    assert page.status_code == 200
    assert "Ines" not in page.content.decode()  # no names on a browser nobody signed in on


def test_names_of_this_browser_come_back_lately_first(client: Client, cast) -> None:
    for name in ("dag", "ines"):
        client.post("/sign-in/", {"username": name, "password": name})
        client.post("/sign-out/")
    text = client.get("/sign-in/").content.decode()
    assert re.findall(r'data-name="([^"]+)"', text) == ["Ines O.", "Dag P."]


def test_a_pin_opens_the_shared_tablet_and_nothing_else(client: Client, cast) -> None:
    refused = client.post("/sign-in/", {"username": "teo", "pin": "4711"})
    assert refused.status_code == 422
    assert "_auth_user_id" not in client.session
    shared = Device.objects.create(name="Tablet", branch=cast.branch, first_seen_at=NOW, shared=True)
    answer = on_device(client, shared).post("/sign-in/", {"username": "teo", "pin": "4711"})
    assert answer.status_code == 302
    assert client.session["_auth_user_id"] == str(cast.teo.pk)
    assert client.session[IDLE_SECONDS] == 180
    assert client.session.get_expiry_age() == 180


def test_the_shared_tablet_shows_every_name_of_its_branch(tablet: Client, cast, django_assert_num_queries) -> None:
    make_person(make_branch("Another shop"), "noor", "Noor K.", Bundle.HELPER)
    text = tablet.get("/sign-in/").content.decode()
    assert len(re.findall('data-name="', text)) == 6
    assert "Noor" not in text
    with django_assert_num_queries(5):  # anybody? device, settings, people, their rights
        tablet.get("/sign-in/")
    for number in range(20):
        make_person(cast.branch, f"p{number}", f"P {number}", Bundle.HELPER, pin="4711")
    with django_assert_num_queries(5):
        tablet.get("/sign-in/")


def test_a_pin_of_another_branch_does_not_open_the_tablet(tablet: Client) -> None:
    make_person(make_branch("Another shop"), "noor", "Noor K.", Bundle.HELPER, pin="4711")
    assert tablet.post("/sign-in/", {"username": "noor", "pin": "4711"}).status_code == 422


def test_a_withdrawn_tablet_takes_no_pin(tablet: Client) -> None:
    Device.objects.update(withdrawn_at=NOW)
    assert tablet.post("/sign-in/", {"username": "teo", "pin": "4711"}).status_code == 422


def test_tries_are_counted_then_one_has_to_wait(tablet: Client, cast) -> None:
    assert "5 tries left, then wait a minute or ask Olga M." in tablet.get("/sign-in/?who=teo").content.decode()
    for left in (4, 3, 2, 1):
        page = tablet.post("/sign-in/", {"username": "teo", "pin": "9999"})
        assert page.status_code == 422
        assert f"{left} tr{'y' if left == 1 else 'ies'} left" in page.content.decode()
    for pin in ("9999", "4711"):  # the right one does not help while one waits
        page = tablet.post("/sign-in/", {"username": "teo", "pin": pin})
        assert page.status_code == 429
        assert "The tries are used up. Wait a minute, then go on." in page.content.decode()
    assert tablet.post("/sign-in/", {"username": "ines", "password": "ines"}).status_code == 302


@pytest.mark.parametrize("who", ["ines", "teo"])
def test_a_pin_try_after_a_minute_leaves_the_wait_for_a_password(tablet: Client, cast, who: str) -> None:
    from axes.models import AccessAttempt, AccessAttemptExpiration

    for _number in range(5):
        page = tablet.post("/sign-in/", {"username": "ines", "password": "not hers"})
    assert page.status_code == 429
    later = timedelta(seconds=62)
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - later)
    AccessAttemptExpiration.objects.update(expires_at=F("expires_at") - later)
    tablet.post("/sign-in/", {"username": who, "pin": "9999"})
    assert tablet.post("/sign-in/", {"username": "ines", "password": "ines"}).status_code == 429
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=15))
    AccessAttemptExpiration.objects.update(expires_at=F("expires_at") - timedelta(minutes=15))
    assert tablet.post("/sign-in/", {"username": "ines", "password": "ines"}).status_code == 302


@pytest.mark.parametrize("secret", [{"password": "ines"}, {"pin": "4711"}])
def test_a_name_that_no_column_holds_is_refused_before_it_is_asked_for(tablet: Client, secret) -> None:
    from axes.models import AccessAttempt

    page = tablet.post("/sign-in/", {"username": "n" * 300} | secret)
    assert page.status_code == 422
    assert ("not the four digits" if "pin" in secret else "do not belong together") in page.content.decode()
    assert not AccessAttempt.objects.exists()


@pytest.mark.parametrize("secret", [{"password": "4711"}, {"pin": "4711"}])
def test_four_digits_typed_elsewhere_are_told_where_a_pin_works(client: Client, cast, secret) -> None:
    page = client.post("/sign-in/", {"username": "teo"} | secret)
    assert page.status_code == 422
    assert "it works on the shop&#x27;s shared tablets only. Here, type your password." in page.content.decode()


def test_a_wrong_password_says_nothing_of_pins(client: Client, tablet: Client, cast) -> None:
    for browser, secret in ((client, "not hers"), (tablet, "4711")):
        page = browser.post("/sign-in/", {"username": "ines", "password": secret})
        assert "do not belong together" in page.content.decode()
        assert "shared tablets only" not in page.content.decode()


def test_where_a_pin_is_set_it_says_where_it_works(client: Client, cast) -> None:
    client.force_login(cast.olga)
    for url in ("/me/secrets/", f"/shop/people/{cast.dag.pk}/"):
        assert "for the shop&#x27;s shared tablets only" in client.get(url).content.decode(), url


def test_a_pin_is_written_down_nowhere(tablet: Client) -> None:
    from axes.models import AccessAttempt

    tablet.post("/sign-in/", {"username": "teo", "pin": "9137"})
    attempt = AccessAttempt.objects.get()
    assert attempt.username == "teo"
    assert "9137" not in attempt.post_data + attempt.get_data


def test_an_inactive_person_comes_in_no_more(client: Client, cast) -> None:
    client.force_login(cast.dag)
    Person.objects.filter(pk=cast.dag.pk).update(is_active=False)
    assert client.get("/me/").status_code == 302
    assert client.post("/sign-in/", {"username": "dag", "password": "dag"}).status_code == 422


def test_signing_out_ends_the_session(client: Client, cast) -> None:
    client.force_login(cast.dag)
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert client.get("/me/").status_code == 302
    assert client.get("/sign-out/").status_code == 405


def test_the_language_stands_before_the_name_and_stays_with_the_person(client: Client, cast) -> None:
    answer = client.post("/language/", {"language": "es", "next": "/sign-in/?who=ines"})
    assert answer["Location"] == "/sign-in/?who=ines"
    assert '<html lang="es"' in client.get("/sign-in/").content.decode()
    client.force_login(cast.ines)
    assert '<html lang="en"' in client.get("/me/").content.decode()  # her own wins
    client.post("/language/", {"language": "es", "next": "/me/"})
    cast.ines.refresh_from_db()
    assert cast.ines.language == "es"
    assert client.post("/language/", {"language": "xx"}).status_code == 400


def test_a_touch_moves_the_end_of_a_shared_session(tablet: Client) -> None:
    tablet.post("/sign-in/", {"username": "teo", "pin": "4711"})
    answer = tablet.post("/still-here/")
    assert answer.status_code == 204
    assert int(answer.cookies["sessionid"]["max-age"]) == 180
    assert 'data-seconds="180"' in tablet.get("/me/").content.decode()


def test_four_digits_change_nobodys_rights(tablet: Client, cast) -> None:
    save_person(cast.olga, cast.branch, words(sign_in="pia", rights=BUNDLES[Bundle.OWNER], pin="9137"))
    tablet.post("/sign-in/", {"username": "pia", "pin": "9137"})
    assert tablet.get("/shop/people/").status_code == 200
    said = {"name": "Noor K.", "sign_in": "noor", "bundle": "owner", "is_active": "on"}
    for path, posted in (
        ("/shop/people/new/", said),
        (f"/shop/devices/{cast.device.pk}/", {"name": "Mine", "shared": "on"}),
        ("/me/secrets/", {"password": "a long new password"}),
    ):
        page = tablet.post(path, posted)
        assert page.status_code == 422, path
        assert "Four digits are not enough to change this." in page.content.decode()
    assert not Person.objects.filter(sign_in="noor").exists()


# --- first run ---

FIRST = {
    "shop": "Millrace shop",
    "time_zone": "America/Chicago",
    "currency": "usd",
    "units": "us",
    "name": "Ines O.",
    "sign_in": "ines",
    "password": "long enough it is",
}


def test_an_empty_shop_begins_with_its_code(client: Client) -> None:
    assert client.get("/sign-in/")["Location"] == "/first-run/"
    code = make_code(now=NOW_REAL())
    page = client.get(f"/first-run/?code={code}")
    assert code in page.content.decode()
    answer = client.post("/first-run/", FIRST | {"code": code.lower().replace("-", " ")})
    assert (answer.status_code, answer["Location"]) == (302, "/first-run/shop/")
    person = Person.objects.get()
    assert person.rights == frozenset(Right.values)
    assert (person.branch.name, person.branch.currency) == ("Millrace shop", "USD")
    assert client.get("/first-run/shop/").status_code == 200
    assert client.get("/first-run/")["Location"] == "/sign-in/"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"code": "ABCD-EFGH-JKMN"}, "is not the code of this start"),
        ({"password": "short"}, "too short"),
        ({"currency": "U$"}, "no currency"),
        ({"sign_in": "ines o"}, "cannot be a sign-in name"),
        ({"time_zone": "Mars/Olympus"}, "one of the choices"),
        ({"shop": ""}, "This is needed"),
    ],
)
def test_a_first_run_that_cannot_be_keeps_nothing_and_the_code_still_works(client: Client, changes, words: str) -> None:
    code = make_code(now=NOW_REAL())
    page = client.post("/first-run/", FIRST | {"code": code} | changes)
    assert page.status_code == 422
    assert words in page.content.decode()
    assert not Branch.objects.exists()
    assert client.post("/first-run/", FIRST | {"code": code}).status_code == 302


def test_a_code_works_once_and_a_new_one_replaces_it(client: Client) -> None:
    old, new = make_code(now=NOW_REAL()), make_code(now=NOW_REAL())
    assert client.post("/first-run/", FIRST | {"code": old}).status_code == 422
    assert client.post("/first-run/", FIRST | {"code": new}).status_code == 302
    with pytest.raises(Refused, match="This shop has people already"):
        make_code(now=NOW_REAL())


def test_a_ladder_is_taken_and_the_page_says_so(client: Client, cast) -> None:
    client.force_login(cast.olga)
    assert 'value="resin-400"' in client.get("/first-run/shop/").content.decode()
    client.post("/first-run/ladder/", {"steps": ["metal-70", "resin-400"], "figures": "1"})
    assert list(ToolType.objects.values_list("grit", "soak_need")) == [("70", "unknown"), ("400", "unknown")]
    assert "2 tool types stand on your ladder" in client.get("/first-run/shop/").content.decode()
    assert client.post("/first-run/ladder/", {"steps": ["resin-7"]}).status_code == 422


def test_a_phone_confirms_the_address_once(client: Client, cast) -> None:
    client.force_login(cast.olga)
    refused = client.post("/first-run/address/", {"address": "shop.example/labels"})
    assert refused.status_code == 422
    client.post("/first-run/address/", {"address": "https://shop.example"})
    branch = Branch.objects.get()
    assert (branch.label_address, branch.label_address_confirmed_at) == ("HTTPS://SHOP.EXAMPLE", None)
    assert "Waiting for a phone" in client.get("/first-run/address/state/").content.decode()
    phone = Client()
    assert phone.get("/H/AAAAAAAA").status_code == 404
    assert phone.get(f"/H/{phone_word(branch)}").status_code == 200
    branch.refresh_from_db()
    confirmed = branch.label_address_confirmed_at
    assert confirmed is not None
    phone.get(f"/h/{phone_word(branch).lower()}/")
    branch.refresh_from_db()
    assert branch.label_address_confirmed_at == confirmed
    assert "A phone came" in client.get("/first-run/address/state/").content.decode()
    propose_address(branch, "https://shop.example/")
    branch.refresh_from_db()
    assert branch.label_address_confirmed_at == confirmed
    propose_address(branch, "https://other.example")
    assert confirm_address("AAAAAAAA", now=NOW) is None


@pytest.mark.parametrize("url", ["/labels/address/", "/first-run/address/"])
def test_an_address_without_scheme_takes_that_of_the_page(client: Client, cast, url: str) -> None:
    client.force_login(cast.olga)
    assert client.post(url, {"address": " shop.local:8000 "}).status_code == 302
    assert Branch.objects.get().label_address == "HTTP://SHOP.LOCAL:8000"
    assert client.post(url, {"address": "shop.example"}, secure=True).status_code == 302
    assert Branch.objects.get().label_address == "HTTPS://SHOP.EXAMPLE"


@pytest.mark.parametrize("url", ["/labels/address/", "/first-run/address/"])
@pytest.mark.parametrize("typed", ["http://ev il", "-x-", "shop.local:8000/labels", "shop_1"])
def test_a_refused_address_stays_as_typed(client: Client, cast, url: str, typed: str) -> None:
    client.force_login(cast.olga)
    refused = client.post(url, {"address": typed})
    assert refused.status_code == 422
    assert f'name="address" value="{typed}"' in refused.content.decode()
    assert Branch.objects.get().label_address == ""


def test_the_browser_of_another_computer_confirms_the_address_it_came_by(client: Client, cast, settings) -> None:
    client.force_login(cast.ines)
    url = "/labels/address/"
    # Another address than the one the browser came by waits for a phone.
    settings.ALLOWED_HOSTS = ["testserver", "10.0.0.5"]
    client.post(url, {"address": "http://10.0.0.5:8000"})
    assert Branch.objects.get().label_address_confirmed_at is None
    assert "/H/" in client.get(url).content.decode()
    client.post(url, {"address": "http://testserver"})
    branch = Branch.objects.get()
    assert (branch.label_address, branch.label_address_confirmed_at is None) == ("HTTP://TESTSERVER", False)
    assert "Labels hold http://testserver" in client.get(url).content.decode()


def test_an_address_of_this_computer_alone_is_no_try_but_may_be_taken(client: Client, cast, settings) -> None:
    settings.ALLOWED_HOSTS = ["127.0.0.1"]
    client.force_login(cast.ines)
    url = "/labels/address/"
    client.defaults["HTTP_HOST"] = "127.0.0.1:8000"
    assert "Only this computer can open labels" in client.get(url).content.decode()
    client.post(url, {"address": "http://127.0.0.1:8000"})
    assert Branch.objects.get().label_address_confirmed_at is None
    client.post(url, {"do": "take", "address": "http://127.0.0.1:8000"})
    confirmed = Branch.objects.get().label_address_confirmed_at
    client.post(url, {"do": "take", "address": "http://127.0.0.1:8000"})
    assert confirmed is not None
    assert Branch.objects.get().label_address_confirmed_at == confirmed
    wrong = client.post(url, {"do": "take", "address": "http://127.0.0.1:8000/labels"})
    assert wrong.status_code == 422
    assert "goes on after the host" in wrong.content.decode()


@pytest.mark.parametrize(
    ("address", "alone"),
    [
        # Loopback: 127.0.0.0/8 and ::1 (RFC 5735, RFC 4291), localhost (RFC 6761, section 6.3).
        ("HTTP://127.0.0.1:8000", True),
        ("http://127.9.9.9", True),
        ("http://[::1]:8000", True),
        ("HTTP://LOCALHOST:8000", True),
        ("http://shop.localhost", True),
        ("http://0.0.0.0:8000", True),
        ("http://10.0.0.5:8000", False),
        ("https://localhost.example", False),
        ("", False),
        ("http://[", False),
    ],
)
def test_an_address_that_leads_to_this_computer_alone_is_known(address: str, alone: bool) -> None:
    assert only_this_computer(address) is alone


# --- people ---


def words(**changes) -> PersonWords:
    facts = {"sign_in": "noor", "name": "Noor K.", "rights": BUNDLES[Bundle.HELPER]}
    return PersonWords(**(facts | changes))


def test_a_person_saved_twice_is_one_person(cast) -> None:
    first = save_person(cast.olga, cast.branch, words(pin="9137"))
    assert save_person(cast.olga, cast.branch, words(pin="9137")) == first
    assert first.rights == {"scan"}
    with pytest.raises(PersonRefused, match="is the sign-in name of Noor"):
        save_person(cast.olga, cast.branch, words(name="Noor L."))


def test_a_name_taken_at_the_same_moment_is_answered_as_a_name_taken_before(cast, monkeypatch) -> None:
    first, look = save_person(cast.olga, cast.branch, words(pin="9137")), people._same_or_taken

    def late(*asked):  # the other one is not there yet when the name is first looked up
        monkeypatch.setattr(people, "_same_or_taken", look)

    monkeypatch.setattr(people, "_same_or_taken", late)
    assert save_person(cast.olga, cast.branch, words(pin="9137")) == first
    monkeypatch.setattr(people, "_same_or_taken", late)
    with pytest.raises(PersonRefused, match="is the sign-in name of Noor"):
        save_person(cast.olga, cast.branch, words(name="Noor L."))
    assert Person.objects.filter(sign_in="noor").count() == 1


@pytest.mark.parametrize("pin", ["123", "12a4", "1234", "4321", "7777", "2580"])
def test_a_pin_that_everybody_tries_is_refused(cast, pin: str) -> None:
    with pytest.raises(PasswordRefused) as refused:
        save_person(cast.olga, cast.branch, words(pin=pin))
    assert refused.value.field == "pin"
    assert not Person.objects.filter(sign_in="noor").exists()


def test_the_last_one_who_runs_the_shop_stays(cast) -> None:
    olga = words(sign_in="olga", name="Olga M.", rights=BUNDLES[Bundle.HELPER] | {Right.SEE_MONEY})
    with pytest.raises(NobodyLeft, match=r"Olga M\. is the only one who runs the shop"):
        save_person(cast.olga, cast.branch, olga, person_id=cast.olga.pk)
    save_person(cast.olga, cast.branch, words(rights=BUNDLES[Bundle.OWNER]))
    assert not save_person(cast.olga, cast.branch, olga, person_id=cast.olga.pk).can(Right.RUN_SHOP)


def test_money_is_given_only_by_somebody_who_sees_it(cast) -> None:
    runner = save_person(cast.olga, cast.branch, words(rights=frozenset({Right.RUN_SHOP})))
    with pytest.raises(PersonRefused, match="Only somebody who sees money"):
        save_person(runner, cast.branch, words(sign_in="pia", rights=frozenset({Right.SEE_MONEY})))


@pytest.mark.parametrize(
    "said", [{"password": "a quiet long word"}, {"pin": "9137"}, {"no_pin": True}, {"is_active": False}]
)
def test_nobody_takes_the_sign_in_of_somebody_with_a_right_they_lack(cast, said) -> None:
    runner = save_person(cast.olga, cast.branch, words(rights=frozenset(Right.values) - {Right.SEE_MONEY}))
    olga = {"sign_in": "olga", "name": "Olga Maria", "rights": BUNDLES[Bundle.OWNER]}
    with pytest.raises(PersonRefused, match="rights that you do not have: see money"):
        save_person(runner, cast.branch, words(**olga, **said), person_id=cast.olga.pk)
    kept = Person.objects.get(pk=cast.olga.pk)
    assert (kept.password, kept.pin, kept.is_active) == (cast.olga.password, cast.olga.pin, True)
    assert save_person(runner, cast.branch, words(**olga), person_id=cast.olga.pk).name == "Olga Maria"
    teo = {"sign_in": "teo", "name": cast.teo.name, "rights": cast.teo.rights, "pin": "9137"}
    assert save_person(runner, cast.branch, words(**teo), person_id=cast.teo.pk).check_pin("9137")


def test_a_person_of_another_branch_is_not_found(client: Client, cast) -> None:
    stranger = make_person(make_branch("Another shop"), "noor", "Noor K.", Bundle.OWNER)
    client.force_login(cast.olga)
    assert client.get(reverse("inventory:person", args=[stranger.pk])).status_code == 404


def test_a_person_is_added_by_the_work_they_do(client: Client, cast) -> None:
    client.force_login(cast.olga)
    said = {"name": "Noor K.", "sign_in": "Noor", "bundle": "crew_lead", "is_active": "on", "pin": "9137"}
    assert client.post("/shop/people/new/", said)["Location"] == "/shop/people/"
    person = Person.objects.get(sign_in="noor")
    assert person.rights == BUNDLES[Bundle.CREW_LEAD]
    assert person.check_pin("9137")
    assert not person.has_usable_password()
    assert "crew lead" in client.get("/shop/people/").content.decode()


def test_ones_own_page_keeps_how_pages_look(client: Client, cast) -> None:
    client.force_login(cast.dag)
    said = {"language": "es", "units": "metric", "theme": "night", "clock_24h": "0"}
    assert client.post("/me/", said).status_code == 302
    cast.dag.refresh_from_db()
    kept = (cast.dag.language, cast.dag.units, cast.dag.theme, cast.dag.clock_24h, cast.dag.sound)
    assert kept == ("es", "metric", "night", False, False)


def test_a_new_password_needs_the_old_one(client: Client, cast) -> None:
    client.force_login(cast.dag)
    new = "a long new password"
    refused = client.post("/me/secrets/", {"now_is": "wrong", "password": new})
    assert refused.status_code == 422
    assert "That is not your password" in refused.content.decode()
    assert client.post("/me/secrets/", {"now_is": "dag", "password": new}).status_code == 302
    assert client.get("/me/").status_code == 200  # this session goes on
    cast.dag.refresh_from_db()
    assert cast.dag.check_password(new)


@pytest.mark.parametrize(
    ("agent", "kind"),
    [
        # Forms of the header as browsers' makers document them (MDN, User-Agent; from memory).
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1.15 Mobile/15E148 Safari/604.1",
            "Phone",
        ),
        ("Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Chrome/126.0.0.0 Mobile Safari/537.36", "Phone"),
        ("Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Chrome/126.0.0.0 Safari/537.36", "Tablet"),
        ("Mozilla/5.0 (iPad; CPU OS 17_5 like Mac OS X) AppleWebKit/605.1.15 Mobile/15E148 Safari/604.1", "Tablet"),
        ("Mozilla/5.0 (X11; Linux x86_64; rv:127.0) Gecko/20100101 Firefox/127.0", "Desk browser"),
        ("", "Desk browser"),
    ],
)
def test_a_new_device_is_called_by_what_it_is_and_whose(client: Client, cast, agent: str, kind: str) -> None:
    client.force_login(cast.olga)
    page = client.get("/shop/devices/", HTTP_USER_AGENT=agent).content.decode()
    made = Device.objects.exclude(pk=cast.device.pk).get()
    assert made.name == f"{kind} of {cast.olga.name}"
    assert f"{made.name} (this one)" in page


def test_devices_say_who_wrote_on_them_last(client: Client, cast, django_assert_num_queries) -> None:
    rack, kind = make_place(cast.branch), make_type("400")
    client.force_login(cast.olga)
    page = client.get("/shop/devices/").content.decode()
    assert page.count("nothing yet") == 2
    make_set(cast, kind, rack, at=NOW)
    page = client.get("/shop/devices/").content.decode()
    assert f"{cast.ines.name}, " in page
    # The session, the person, the device, the list, the rights: no more with more devices.
    Device.objects.bulk_create(Device(branch=cast.branch, name=f"T{n}", first_seen_at=NOW) for n in range(20))
    with django_assert_num_queries(5):
        client.get("/shop/devices/")


@pytest.mark.parametrize(
    ("who", "there"), [("ines", "jobs:shop_day"), ("dag", "jobs:my_job"), ("teo", "inventory:scan"),
                       ("ruta", "jobs:reorder"), ("olga", "jobs:shop_day"), ("nils", "inventory:rack")]
)  # fmt: skip
def test_people_begin_where_their_work_is(client: Client, cast, who: str, there: str) -> None:
    client.force_login(getattr(cast, who))
    assert client.get("/")["Location"] == reverse(there)


@pytest.mark.parametrize("who", ["dag", "teo", "nils"])
def test_whoever_may_have_no_table_is_not_led_to_them(client: Client, cast, who: str) -> None:
    client.force_login(getattr(cast, who))
    assert reverse("inventory:tables") not in client.get("/me/").content.decode()


def test_a_device_becomes_a_shared_tablet_by_name(client: Client, cast) -> None:
    client.force_login(cast.olga)
    page = client.get("/shop/devices/").content.decode()
    assert "(this one)" in page
    url = reverse("inventory:device", args=[cast.device.pk])
    assert client.post(url, {"name": "", "shared": "on"}).status_code == 422
    client.post(url, {"name": "Tablet at rack B", "shared": "on"})
    cast.device.refresh_from_db()
    assert (cast.device.name, cast.device.shared) == ("Tablet at rack B", True)
    client.post(url, {"name": "Tablet at rack B", "shared": "on", "withdrawn": "on"})
    cast.device.refresh_from_db()
    assert cast.device.withdrawn_at is not None
    assert not cast.device.shared


def NOW_REAL():
    """The clock that the pages read: a code holds for a day."""
    from django.utils import timezone

    return timezone.now()
