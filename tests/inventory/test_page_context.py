"""What every page is given, and the frame around it."""

from types import SimpleNamespace

import pytest
from django.contrib.auth.models import AnonymousUser
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import include, path

from inventory import context
from inventory.rights import BUNDLES, Bundle


def nowhere(request):
    raise AssertionError("only its address is asked")


class Addresses:
    """Addresses of every page of the frame, whatever is built by now."""

    urlpatterns = [
        path("jobs/", include(([path("", nowhere, name="jobs"), path("costs/", nowhere, name="costs"),
                                path("my/", nowhere, name="my_job"), path("day/", nowhere, name="shop_day"),
                                path("reorder/", nowhere, name="reorder")], "jobs"))),
        path("", include(([path("rack/", nowhere, name="rack"), path("soak/", nowhere, name="soak"),
                           path("scan/", nowhere, name="scan"), path("find/", nowhere, name="find"),
                           path("me/", nowhere, name="me"), path("me/theme/", nowhere, name="theme")], "inventory"))),
    ]  # fmt: skip


def somebody(*bundles, **more):
    rights = frozenset().union(*[BUNDLES[bundle] for bundle in bundles])
    return SimpleNamespace(is_authenticated=True, name="Ines O.", can=rights.__contains__, **more)


@pytest.fixture
def ask(settings):
    settings.ROOT_URLCONF = Addresses

    def given(user, at="/rack/"):
        request = RequestFactory().get(at)
        request.user = user
        return context.page(request)

    return given


def words(links):
    return [str(link.label) for link in links]


@pytest.mark.parametrize(("bundle", "pages"), [
    (Bundle.HELPER, ["Rack", "Soak"]),
    (Bundle.CREW_LEAD, ["My job", "Rack", "Soak", "Jobs"]),
    (Bundle.SHOP_MANAGER, ["Shop day", "My job", "Rack", "Soak", "Jobs", "Reorder"]),
    (Bundle.PURCHASER, ["Rack", "Soak", "Reorder", "Costs"]),
    (Bundle.OWNER, ["Shop day", "My job", "Rack", "Soak", "Jobs", "Reorder", "Costs"]),
])  # fmt: skip
def test_the_top_line_follows_the_rights(ask, bundle, pages):
    assert words(ask(somebody(bundle))["nav"]) == pages


def test_costs_are_shown_to_nobody_without_money(ask):
    everything = [bundle for bundle in Bundle if "see_money" not in BUNDLES[bundle]]

    assert "Costs" not in words(ask(somebody(*everything))["nav"])


def test_the_foot_bar_holds_three_pages_beside_scan_and_more(ask):
    given = ask(somebody(Bundle.OWNER))

    assert words(given["foot_nav"]) == ["Shop day", "Rack", "Soak"]
    assert [(str(group.head), words(group.links)) for group in given["more_nav"]] == [
        ("", ["My job", "Jobs", "Reorder", "Costs"])
    ]
    assert given["scan_link"].url == "/scan/"


def test_pages_under_more_stand_by_what_one_does_and_each_once():
    groups = ask_plainly(Bundle.SHOP_MANAGER)["more_nav"]
    heads = [str(group.head) for group in groups]
    pages = [link.url_name for group in groups for link in group.links]

    assert heads == ["", "Sets", "Jobs and buying", "The shop", "In and out as files"]
    assert len(pages) == len(set(pages))
    assert [group.head for group in ask_plainly(Bundle.HELPER)["more_nav"]] == ["Sets"]


@pytest.mark.parametrize(("at", "current"), [
    ("/rack/", ["Rack"]), ("/rack/400/", ["Rack"]), ("/jobs/", ["Jobs"]), ("/jobs/12/", ["Jobs"]),
    ("/jobs/costs/", ["Costs"]), ("/elsewhere/", []),
])  # fmt: skip
def test_one_page_is_where_one_is(ask, at, current):
    assert words([link for link in ask(somebody(Bundle.OWNER), at)["nav"] if link.current]) == current


def test_nobody_signed_in_sees_no_pages(ask):
    given = ask(AnonymousUser())

    assert (given["nav"], given["foot_nav"], given["scan_link"], given["find_url"]) == ([], [], None, "")


@pytest.mark.parametrize(("chosen", "theme"), [("night", "night"), ("light", "light"), ("system", ""), ("", "")])
def test_the_mode_is_the_persons(ask, chosen, theme):
    assert ask(somebody(Bundle.OWNER, theme=chosen))["theme"] == theme


def test_a_page_whose_address_is_not_built_is_left_out(settings):
    settings.ROOT_URLCONF = type("Empty", (), {"urlpatterns": []})

    assert context.address("jobs:shop_day") == ""


@pytest.mark.parametrize("code", ["400", "403", "404", "500"])
def test_the_pages_of_trouble_speak_the_shops_words(code):
    page = render_to_string(f"{code}.html", request=RequestFactory().get("/")).lower()

    assert "<h1>" in page
    assert [word for word in ("invalid", "error", "oops", "please", "forbidden", "exception") if word in page] == []


def test_the_page_of_a_fault_stands_without_any_context():
    assert "It is written in the shop's log." in render_to_string("500.html").replace("&#x27;", "'")


def test_a_page_whose_door_stays_shut_is_not_offered(ask, settings):
    def shut(request):
        raise AssertionError("only its door is asked")

    setattr(shut, "rights", ("run_shop",))  # noqa: B010 - what `views.doors.door` leaves on a view
    settings.ROOT_URLCONF = type("Shut", (), {"urlpatterns": [
        path("", include(([path("rack/", shut, name="rack"), path("orders/", nowhere, name="orders")], "inventory"))),
    ]})  # fmt: skip

    # Orders are what a purchaser works in: they stand in the foot bar.
    assert words(ask_plainly(Bundle.PURCHASER)["foot_nav"]) == ["Orders"]
    assert ask_plainly(Bundle.PURCHASER)["more_nav"] == []
    assert words(ask_plainly(Bundle.OWNER)["nav"]) == ["Rack"]


def ask_plainly(bundle):
    request = RequestFactory().get("/")
    request.user = somebody(bundle)
    return context.page(request)


def test_the_door_tells_its_rights():
    from inventory.views.doors import door

    assert getattr(door("GET", right=("buy", "plan"))(nowhere), "rights", None) == ("buy", "plan")


def test_the_foot_bar_follows_the_rights(ask):
    assert words(ask(somebody(Bundle.PURCHASER))["foot_nav"]) == ["Rack", "Reorder"]
    assert words(ask(somebody(Bundle.SHOP_MANAGER))["foot_nav"]) == ["Shop day", "Rack", "Soak"]
    assert words(ask(somebody(Bundle.CREW_LEAD))["foot_nav"]) == ["My job", "Rack", "Soak"]
