"""The app of the work."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        """Answer what `inventory` asks of the work."""
        from inventory import hooks, tables
        from jobs.queries import named_tonight, open_steps, planned_steps, rack_answers, uses
        from jobs.queries.tables import TABLES
        from jobs.views.leaving import leaving_jobs

        tables.register(TABLES)
        hooks.register_leaving_jobs(leaving_jobs)
        hooks.register_plan(uses.plan_of_outing)
        hooks.register_next_use(uses.next_uses)
        hooks.register_find(uses.find_jobs)
        hooks.register_need_by_type(rack_answers.need_by_type)
        hooks.register_leaves_tonight(rack_answers.leaves_tonight)
        hooks.register_names_of_work(rack_answers.names_of_work)
        hooks.register_closed_shifts(rack_answers.closed_shifts)
        hooks.register_said_of_shifts(rack_answers.said_of_shifts)
        hooks.register_open_steps(open_steps.open_steps)
        hooks.register_planned_steps(planned_steps.planned_steps)
        hooks.register_named_tonight(named_tonight.named_tonight)
