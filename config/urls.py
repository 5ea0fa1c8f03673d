"""Addresses: `inventory` at the root, `jobs` below it, the read-only admin for whoever runs the shop."""

from django.urls import include, path, re_path

from inventory.admin import office
from jobs.views.van_sheet import sheet_opened

urlpatterns = [
    path("office/", office.urls),
    # The square of a van sheet, in capitals as squares have it.
    re_path(r"^[Vv]/(?P<word>[0-9A-Fa-f]{32})/?$", sheet_opened, name="sheet_opened"),
    path("jobs/", include("jobs.urls")),
    path("", include("inventory.urls")),
]
