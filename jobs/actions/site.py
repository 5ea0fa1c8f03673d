"""Sites and their floors, as the shop plans and keeps them."""

from __future__ import annotations

from uuid import UUID, uuid4
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.models import Branch, Place
from inventory.models.choices import Coating, Condition, Hardness, PlaceKind, Surface
from inventory.refusals import Refused
from inventory.units import Units, judge_area
from jobs.models import Site, Zone


class SiteRefused(Refused):
    """A site or a floor cannot be kept as it was said."""

    code = "site"


class AreaAsked(SiteRefused):
    """A floor's area is above plausible: asked, kept when said to be right."""

    code = "area_asked"


def save_site(
    branch: Branch,
    *,
    name: str,
    address: str = "",
    time_zone: str = "",
    notes: str = "",
    active: bool = True,
    site: Site | None = None,
) -> Site:
    """Keep a site, new or changed, and the place that sets left there lie in.

    time_zone: an IANA name, "" for the branch's own. The same name again without ``site`` gives the site there is.
    Raises SiteRefused for an empty name, a name another site has, and an unknown time zone.
    """
    name = name.strip()
    if not name:
        raise SiteRefused(_("A site needs a name."), _("Type what your crews call it."), field="name")
    if time_zone:
        _check_zone(time_zone)
    with transaction.atomic():
        same = Site.objects.select_for_update().filter(branch=branch, name=name).first()
        if site is None and same is not None:
            return same
        if site is not None and same is not None and same.pk != site.pk:
            raise SiteRefused(
                _("There is a site “%(name)s” already.") % {"name": name},
                _("Give this one another name."),
                field="name",
            )
        if site is None:
            place, _made = Place.objects.get_or_create(branch=branch, kind=PlaceKind.SITE, name=name)
            site = Site(branch=branch, place=place)
        elif site.place.name != name:
            site.place.name = name
            site.place.save(update_fields=["name"])
        site.name, site.address, site.time_zone, site.notes, site.active = name, address, time_zone, notes, active
        site.save()
    return site


def save_zone(
    site: Site,
    *,
    name: str,
    area_m2: float | None,
    edge_m: float = 0.0,
    hardness: str = Hardness.UNKNOWN,
    surface: str = Surface.RAW,
    coating: str = Coating.NONE,
    condition: str = Condition.UNKNOWN,
    section_m2: float | None = None,
    notes: str = "",
    active: bool = True,
    zone: Zone | None = None,
    zone_id: UUID | None = None,
    sure: bool = False,
    units: Units = "us",
) -> Zone:
    """Keep a floor of a site. Areas in m2, edge in m; zone_id: a key made by the caller for a new floor.

    Versions of plans keep the floor as it was planned; a changed floor changes no saved plan.
    Raises SiteRefused for no name, no area or one nobody polishes, a name twice; AreaAsked for an area that is only
    unlikely, unless ``sure``.
    """
    name = name.strip()
    if not name:
        raise SiteRefused(_("A floor needs a name."), _("Such as “Hall” or “Aisles 1 to 4”."), field="name")
    if area_m2 is None:
        raise SiteRefused(_("“%(name)s” has no area.") % {"name": name}, _("Type its floor area."), field="area")
    judged = judge_area(area_m2, units, of="zone")
    if judged.answer == "refuse":
        raise SiteRefused(judged.sentence, field="area")
    if judged.answer == "ask" and not sure:
        raise AreaAsked(judged.sentence, field="area")
    if edge_m < 0:
        raise SiteRefused(_("An edge length below zero is none."), _("Type 0 or more."), field="edge")
    if section_m2 is not None and section_m2 <= 0:
        raise SiteRefused(_("A section needs an area above zero."), _("Leave it empty for the usual."), field="section")
    with transaction.atomic():
        same = Zone.objects.select_for_update().filter(site=site, name=name).first()
        if same is not None and (zone is None or same.pk != zone.pk):
            if zone is None and zone_id is not None and same.pk == zone_id:
                return same
            raise SiteRefused(
                _("%(site)s has a floor “%(name)s” already.") % {"site": site.name, "name": name},
                _("Change that one, or give this one another name."),
                field="name",
            )
        zone = zone or Zone(id=zone_id or uuid4(), site=site)
        zone.name, zone.area_m2, zone.edge_m, zone.notes = name, area_m2, edge_m, notes
        zone.hardness, zone.surface, zone.coating = hardness, surface, coating
        zone.condition, zone.section_m2, zone.active = condition or Condition.UNKNOWN, section_m2, active
        zone.save()
    return zone


def _check_zone(name: str) -> None:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError) as unknown:
        raise SiteRefused(
            _("“%(name)s” is no time zone known here.") % {"name": name},
            _("Such as America/Chicago; leave it empty for the shop's own."),
            field="time_zone",
        ) from unknown
