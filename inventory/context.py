"""What every page is given: the pages one may open, the mode, the units."""

from __future__ import annotations

from typing import Any, NamedTuple

from django.http import HttpRequest
from django.urls import NoReverseMatch, Resolver404, resolve, reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.codes import only_this_computer
from inventory.rights import Right

THEMES = ("light", "night")


class Page(NamedTuple):
    """A page of the top line: its address's name, its word, and the rights of which one is enough (none: all).

    Where the page's own door asks for rights, those hold beside these.
    """

    url_name: str
    label: str | Promise
    rights: tuple[str, ...] = ()


class NavLink(NamedTuple):
    """A page as the person sees it in the top line or the foot bar."""

    url_name: str
    label: str | Promise
    url: str
    current: bool


class NavGroup(NamedTuple):
    """Pages under More that belong together; head "" for those of the top line that the foot bar has no room for."""

    head: str | Promise
    links: list[NavLink]


# The order of SCREENS: Shop day, Rack, Soak, Jobs, Reorder, Costs; a page whose address does not exist yet is left out.
PAGES = (
    Page("jobs:shop_day", _("Shop day"), (Right.PLAN,)),
    Page("jobs:my_job", _("My job"), (Right.LOG_WORK,)),
    Page("inventory:rack", _("Rack")),
    Page("inventory:soak", _("Soak"), (Right.SCAN, Right.CONFIRM_SOAK, Right.PLAN)),
    Page("jobs:jobs", _("Jobs"), (Right.PLAN, Right.LOG_WORK, Right.RUN_SHOP)),
    Page("jobs:reorder", _("Reorder"), (Right.BUY, Right.PLAN, Right.RUN_SHOP)),
    Page("jobs:costs", _("Costs"), (Right.SEE_MONEY,)),
)
# Seldom wanted: under More, at the end of the top line and of the foot bar; grouped by what the person does.
MORE_GROUPS: tuple[tuple[str | Promise, tuple[Page, ...]], ...] = (
    (
        _("Sets"),
        (
            Page("inventory:outings", _("Outings"), (Right.SCAN,)),
            Page("inventory:counts", _("Count"), (Right.COUNT,)),
            Page("inventory:wear", _("Sets that wear oddly"), (Right.SETTLE,)),
            Page("inventory:how_life", _("How life left is worked out")),
            Page("inventory:labels", _("Labels"), (Right.COUNT, Right.BUY, Right.RUN_SHOP)),
        ),
    ),
    (
        _("Jobs and buying"),
        (
            Page("jobs:sets_for_jobs", _("Sets for jobs"), (Right.PLAN,)),
            Page("jobs:sites", _("Sites"), (Right.PLAN, Right.RUN_SHOP)),
            Page("inventory:orders", _("Orders"), (Right.BUY,)),
            Page("inventory:suppliers", _("Suppliers"), (Right.BUY, Right.RUN_SHOP)),
        ),
    ),
    (
        _("The shop"),
        (
            Page("inventory:tool_types", _("Tool types"), (Right.PLAN, Right.BUY, Right.RUN_SHOP)),
            Page("inventory:machines", _("Machines"), (Right.PLAN, Right.RUN_SHOP)),
            Page("inventory:places", _("Places"), (Right.COUNT, Right.RUN_SHOP)),
            Page("inventory:people", _("People"), (Right.RUN_SHOP,)),
            Page("inventory:shop", _("Shop"), (Right.RUN_SHOP,)),
        ),
    ),
    (
        _("In and out as files"),
        (
            Page("jobs:bring_in", _("Bring in a spreadsheet"), (Right.PLAN, Right.RUN_SHOP)),
            Page(
                "inventory:tables", _("Tables, to save as files"), (Right.PLAN, Right.BUY, Right.COUNT, Right.RUN_SHOP)
            ),
        ),
    ),
)
MORE_PAGES = tuple(page for _head, pages in MORE_GROUPS for page in pages)
SCAN = Page("inventory:scan", _("Scan"), (Right.SCAN,))
FIND = "inventory:find"
IN_FOOT = ("jobs:shop_day", "jobs:my_job", "inventory:rack", "inventory:soak")
# Whoever buys, and neither plans nor goes out, works in these.
IN_FOOT_OF_BUYER = ("jobs:reorder", "inventory:rack", "inventory:orders")


def address(url_name: str) -> str:
    """The address of that name, or "" while nobody has built it."""
    try:
        return reverse(url_name)
    except NoReverseMatch:
        return ""


def _may(user: Any, page: Page) -> bool:
    can = getattr(user, "can", None)
    if can is None:
        return False
    return not page.rights or any(can(right) for right in page.rights)


def _door_opens(user: Any, url: str) -> bool:
    """Whether the page at this address lets the person in: its door knows (`views.doors.door`)."""
    try:
        rights = getattr(resolve(url).func, "rights", ())
    except Resolver404:
        return True
    return not rights or any(user.can(right) for right in rights)


def _link(page: Page, path: str, user: Any) -> NavLink | None:
    url = address(page.url_name)
    if not url or not _may(user, page) or not _door_opens(user, url):
        return None
    current = path == url or (url != "/" and path.startswith(url.rstrip("/") + "/"))
    return NavLink(page.url_name, page.label, url, current)


def _foot_names(user: Any) -> tuple[str, ...]:
    """The pages of the foot bar of a phone, by what the person does."""
    can = getattr(user, "can", None)
    if can is not None and can(Right.BUY) and not can(Right.PLAN) and not can(Right.LOG_WORK):
        return IN_FOOT_OF_BUYER
    return IN_FOOT


def _only_longest(links: list[NavLink]) -> list[NavLink]:
    """Below `/jobs/` several addresses may match: the longest is where one is."""
    here = max((len(link.url) for link in links if link.current), default=-1)
    return [link._replace(current=link.current and len(link.url) == here) for link in links]


def _without(shown: list[NavLink], groups: list[NavGroup]) -> list[NavGroup]:
    """The groups without the links that are shown elsewhere; none that is empty."""
    left = [NavGroup(group.head, [link for link in group.links if link not in shown]) for group in groups]
    return [group for group in left if group.links]


def page(request: HttpRequest) -> dict[str, Any]:
    """Context of every page: `nav` and its kin, `scan_link`, `find_url`, `theme` and so on, as named below."""
    user = getattr(request, "user", None)
    found = [_link(entry, request.path, user) for entry in (*PAGES, *MORE_PAGES)]
    every = _only_longest([link for link in found if link is not None])
    seldom = {entry.url_name for entry in MORE_PAGES}
    nav = [link for link in every if link.url_name not in seldom]
    beyond = [
        NavGroup(head, [link for link in every if link.url_name in {page.url_name for page in pages}])
        for head, pages in MORE_GROUPS
    ]
    foot = [link for link in every if link.url_name in _foot_names(user)]
    if len(foot) > 3:  # whoever plans and logs starts from Shop day; My job waits under More
        foot = [link for link in foot if link.url_name != "jobs:my_job"]
    theme = getattr(user, "theme", "") or ""
    signed_in = bool(getattr(user, "is_authenticated", False))
    return {
        "nav": nav,
        "foot_nav": foot,
        "more_nav": _without(foot, [NavGroup("", nav), *beyond]),
        "beyond_nav": _without([], beyond),
        "scan_link": _link(SCAN, request.path, user),
        "theme_url": address("inventory:theme") if signed_in else "",
        "find_url": address(FIND) if signed_in else "",
        "theme": theme if theme in THEMES else "",
        "units": getattr(user, "units", "us"),
        "sound": getattr(user, "sound", True),
        # Camera and pages kept for no signal need a secure context (W3C, Secure Contexts); loopback counts as one.
        "plain_http": not request.is_secure() and not only_this_computer(f"http://{request.META.get('HTTP_HOST', '')}"),
        # A shared tablet's session ends by itself (inventory.middleware).
        "idle_seconds": request.session.get("idle_seconds") if signed_in and hasattr(request, "session") else None,
    }
