"""The app of what the shop owns."""

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


def lock_ledgers(sender: AppConfig, using: str, **kwargs: Any) -> None:
    """Put the triggers back after every migration and flush, `jobs`' ledgers included.

    Django sends this signal for every app only after all apps' tables stand, so one listener covers both.
    """
    from inventory.ledger_locks import lock

    lock(using)


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        """Name the tables that can be saved, and have the ledgers locked again whenever a migration has run."""
        from inventory import tables
        from inventory.queries.tables import TABLES

        tables.register(TABLES)
        post_migrate.connect(lock_ledgers, sender=self, dispatch_uid="inventory.lock_ledgers")
