"""Addresses of `inventory`."""

from django.urls import URLPattern, URLResolver, path

from inventory.views import look

app_name = "inventory"
urlpatterns: list[URLPattern | URLResolver] = [
    path("me/theme/", look.theme, name="theme"),
]
