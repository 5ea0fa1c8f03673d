"""Addresses: `inventory` at the root, `jobs` below it, the read-only admin for whoever runs the shop."""

from django.urls import include, path

from inventory.admin import office
from jobs.views.home import home

urlpatterns = [
    path("office/", office.urls),
    path("jobs/", include("jobs.urls")),
    path("", home, name="home"),
    path("", include("inventory.urls")),
]
