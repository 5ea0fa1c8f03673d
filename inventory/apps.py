"""The app of what the shop owns."""

import logging
from typing import Any

from django.apps import AppConfig
from django.core.signals import request_finished
from django.db.models.signals import post_migrate


def lock_ledgers(sender: AppConfig, using: str, **kwargs: Any) -> None:
    """Put the triggers back after every migration and flush, `jobs`' ledgers included.

    Django sends this signal for every app only after all apps' tables stand, so one listener covers both.
    """
    from inventory.ledger_locks import lock

    lock(using)


def fit_what_is_due(sender: Any, **kwargs: Any) -> None:
    """Fit tool types that are due in this process, now that the answer has gone out; a failure waits for `refit`."""
    from django.db import connection
    from django.utils import timezone

    from inventory.actions import alarms
    from inventory.actions.lives import refit_due, shop_settings

    closed, now = connection.connection is None, timezone.now()
    try:
        refit_due(now=now)
        if alarms.any_due():
            alarms.judge_due(shop_settings(now), now=now)
    except Exception:
        logging.getLogger(__name__).exception("Fitting what was due failed; `manage.py refit` fits everything.")
    finally:
        if closed:  # as Django left it at the end of the request
            connection.close()


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        """Name the tables that can be saved; have ledgers locked after every migration, and fits kept current."""
        from inventory import tables
        from inventory.queries.tables import TABLES

        tables.register(TABLES)
        post_migrate.connect(lock_ledgers, sender=self, dispatch_uid="inventory.lock_ledgers")
        request_finished.connect(fit_what_is_due, dispatch_uid="inventory.fit_what_is_due")
