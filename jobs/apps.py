"""The app of the work."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
