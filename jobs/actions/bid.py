"""A bid becomes a job's draft: its site and its floor, so that the plan's form can open with them."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.models import Branch
from inventory.units import Units
from jobs.actions.site import SiteRefused, save_site, save_zone
from jobs.models import Site, Zone


def place_bid(
    branch: Branch,
    *,
    site: Site | None,
    new_site: str,
    area_m2: float,
    edge_m: float = 0.0,
    hardness: str,
    surface: str,
    coating: str,
    condition: str,
    sure: bool = False,
    units: Units = "us",
) -> tuple[Site, Zone | None]:
    """The site of a bid, made when it is new, and the floor made of the bid's area; None where the site has floors.

    Floors a site has are measured: they stand, whatever the bid guessed. Safe to repeat: the same name is the same
    site, and it has its floor by then. Raises: SiteRefused for neither site nor name, and as ``save_zone``.
    """
    if site is None and not new_site.strip():
        raise SiteRefused(_("Where is it?"), _("Choose a site or type the name of a new one."), field="new_site")
    with transaction.atomic():
        site = site or save_site(branch, name=new_site)
        Site.objects.select_for_update().get(pk=site.pk)
        if site.zones.filter(active=True).exists():
            return site, None
        zone = save_zone(
            site,
            name=_("Floor"),
            area_m2=area_m2,
            edge_m=edge_m,
            hardness=hardness,
            surface=surface,
            coating=coating,
            condition=condition,
            sure=sure,
            units=units,
        )
    return site, zone
