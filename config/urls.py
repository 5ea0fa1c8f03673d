"""Addresses: `inventory` at the root, `jobs` below it, the read-only admin for whoever runs the shop."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("admin/", admin.site.urls),
    path("jobs/", include("jobs.urls")),
    path("", include("inventory.urls")),
]
