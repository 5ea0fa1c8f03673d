"""The app of the work."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        """Answer what `inventory` asks of the work."""
        from inventory import hooks
        from jobs.queries import uses

        hooks.register_plan(uses.plan_of_outing)
        hooks.register_next_use(uses.next_uses)
        hooks.register_find(uses.find_jobs)
