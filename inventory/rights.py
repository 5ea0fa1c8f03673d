"""Who may do what: the one list of rights, and the ready-made bundles a shop hands out."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Right(models.TextChoices):
    """One thing a person may do; rights combine freely."""

    SCAN = "scan", _("scan sets out and in")
    LOG_WORK = "log_work", _("log work")
    CONFIRM_SOAK = "confirm_soak", _("confirm a soak")
    OVERRIDE = "override", _("send out a set that is not ready")
    PLAN = "plan", _("plan jobs")
    SETTLE = "settle", _("settle what contradicts")
    COUNT = "count", _("count a place")
    BUY = "buy", _("buy sets")
    SEE_MONEY = "see_money", _("see money")
    RUN_SHOP = "run_shop", _("run the shop")


class Bundle(models.TextChoices):
    """Ready-made sets of rights, named by the work people do."""

    HELPER = "helper", _("Helper")
    CREW_LEAD = "crew_lead", _("Crew lead")
    SHOP_MANAGER = "shop_manager", _("Shop manager")
    PURCHASER = "purchaser", _("Purchaser")
    OWNER = "owner", _("Owner")


BUNDLES: dict[str, frozenset[str]] = {
    Bundle.HELPER: frozenset({Right.SCAN}),
    Bundle.CREW_LEAD: frozenset({Right.SCAN, Right.LOG_WORK, Right.CONFIRM_SOAK}),
    Bundle.SHOP_MANAGER: frozenset(
        {
            Right.SCAN,
            Right.LOG_WORK,
            Right.CONFIRM_SOAK,
            Right.OVERRIDE,
            Right.PLAN,
            Right.SETTLE,
            Right.COUNT,
        }
    ),
    Bundle.PURCHASER: frozenset({Right.SCAN, Right.COUNT, Right.BUY, Right.SEE_MONEY}),
    Bundle.OWNER: frozenset(Right.values),
}
