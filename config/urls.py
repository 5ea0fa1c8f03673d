"""Addresses: `inventory` at the root, `jobs` below it, the read-only admin for whoever runs the shop."""

from django.urls import include, path

from inventory.admin import office

urlpatterns = [
    path("office/", office.urls),
    path("jobs/", include("jobs.urls")),
    path("", include("inventory.urls")),
]
