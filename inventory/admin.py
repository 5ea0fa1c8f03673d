"""The office: every row of the database to read, none to write, for whoever runs the shop."""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.contrib import admin
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.db.models import ForeignKey, JSONField, Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.translation import gettext_lazy as _

from inventory.models import Branch, Person, ToolSet
from inventory.rights import Right

# Shown to those who see money only, besides every model that holds a price itself.
_MONEY_FIELDS = {"price", "amount", "cost", "bid"}
_SECRET_FIELDS = {"password", "pin", "code_hash"}
_COLUMNS = 8
# Columns that lead to the branch of a row, the nearest first.
_OWNERS = (
    *("act", "branch", "entry", "order", "person", "shift", "plan", "job", "site", "hours"),
    *("draft", "device", "machine", "place", "tool_set"),
)


def branch_path(model: type[Model]) -> str:
    """The look-up from a row to the branch it belongs to, by what owns it; "" for what all branches share."""
    if model is Branch:
        return "pk"
    if model is ToolSet:
        return "state__branch"
    names = {field.name for field in model._meta.concrete_fields if isinstance(field, ForeignKey)}
    # An entry's own branch column says where a set went: its act is asked first.
    owner = next((name for name in _OWNERS if name in names), "")
    if owner in {"", "branch"}:
        return owner
    return f"{owner}__{branch_path(model._meta.get_field(owner).related_model)}"  # type: ignore[arg-type]


class Office(admin.AdminSite):
    """The read-only admin behind our own sign-in."""

    site_header = site_title = _("Gritledger, the office")
    index_title = _("Every row, to read")
    site_url = "/"

    def has_permission(self, request: HttpRequest) -> bool:
        """Only whoever runs the shop."""
        return isinstance(request.user, Person) and request.user.can(Right.RUN_SHOP)

    @method_decorator(login_not_required)
    def login(self, request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:
        """Our own sign-in page; for somebody signed in without the right, their own page."""
        if request.user.is_authenticated:
            return redirect("admin:index" if self.has_permission(request) else "inventory:me")
        return redirect_to_login(reverse("admin:index"))

    def logout(self, request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:  # type: ignore[override]
        """End the session, back to the sign-in."""
        logout(request)
        return redirect("inventory:sign_in")

    def password_change(  # type: ignore[override]
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Everybody's own page has that."""
        return redirect("inventory:my_secrets")


office = Office(name="admin")


class ReadOnly(admin.ModelAdmin):
    """A table of rows and the page of one; secrets left out, money for those who see it, one branch's rows."""

    actions = None
    show_full_result_count = False
    list_per_page = 50
    with_money = False

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_view_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Whoever runs the shop; money for those who see it."""
        person = request.user
        if not isinstance(person, Person) or not person.can(Right.RUN_SHOP):
            return False
        return not self.with_money or person.can(Right.SEE_MONEY)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        """The rows of the person's own branch; the catalogue and its suppliers are everybody's."""
        rows, path = super().get_queryset(request), branch_path(self.model)
        return rows.filter(**{path: request.user.branch_id}) if path else rows  # type: ignore[union-attr]


def show_all(app_label: str) -> None:
    """Register every model of an app in the office, read-only."""
    for model in apps.get_app_config(app_label).get_models():
        fields = [field for field in model._meta.concrete_fields if field.name not in _SECRET_FIELDS]
        shown = [field for field in fields if not isinstance(field, JSONField)][:_COLUMNS]
        attributes = {
            "list_display": ("__str__", *(field.name for field in shown if not field.primary_key)),
            "list_select_related": tuple(field.name for field in shown if isinstance(field, ForeignKey)) or False,
            "exclude": tuple(_SECRET_FIELDS & {field.name for field in model._meta.concrete_fields}),
            "with_money": bool(_MONEY_FIELDS & {field.name for field in fields}),
        }
        office.register(model, type(f"{model.__name__}ReadOnly", (ReadOnly,), attributes))


show_all("inventory")
