"""The list of sites with their floors."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.sheets import words
from inventory.sheets.draft import Draft
from inventory.sheets.fields import Field
from inventory.sheets.merging import merge_rows
from inventory.sheets.spec import Spec
from inventory.units import Amount


@dataclass(frozen=True)
class SiteRow:
    """One floor of a site as a list says it, or a site without floors (zone ""); areas in m2, lengths in m.

    site_key: the key of a site the shop has, "" for a new one. area_value and area_unit: as entered.
    """

    site: str
    site_key: str = ""
    address: str = ""
    zone: str = ""
    area_m2: float | None = None
    area_value: str = ""
    area_unit: str = ""
    edge_m: float | None = None
    section_m2: float | None = None
    hardness: str = ""
    surface: str = ""
    coating: str = ""
    note: str = ""


def site_key(site: str, zone: str = "") -> str:
    """A site's floor as it is compared."""
    return f"site:{words.squeezed(site)}|{words.squeezed(zone)}"


def judge_site(draft: Draft) -> list[SiteRow]:
    """The floor that a row of a list of sites means."""
    name = draft.get("site")[:80]
    known = next(iter(draft.known.named("sites", name)), None)
    if known is None:
        near = words.nearest(name, (each.name for each in draft.known.sites), 0.85)
        if near:
            like = next(each for each in draft.known.sites if each.name == near[0])
            chosen = draft.ask(
                "site",
                "site",
                _("Is “%(name)s” your site %(other)s?") % {"name": name, "other": like.name},
                _("No site has exactly this name."),
                (("same", _("Yes, %(other)s") % {"other": like.name}), ("new", _("A new site"))),
                like=f"site:{words.squeezed(name)}",
            )
            known = like if chosen == "same" else None
    area: Amount | None = draft.get("area")
    section: Amount | None = draft.get("section")
    edge: Amount | None = draft.get("edge")
    zone = (draft.get("zone") or "")[:80]
    if zone and area is None:
        draft.refuse("area", _("The area of this floor, with its unit."))
    if area is not None and section is not None and section.si > area.si * 1.01:
        draft.refuse("section", _("A section no larger than the floor."))
    return [
        SiteRow(
            site=known.name if known is not None else name,
            site_key=known.key if known is not None else "",
            address=(draft.get("address") or "")[:200],
            zone=zone or (_("Main floor") if area is not None else ""),
            area_m2=area.si if area is not None else None,
            area_value=f"{area.value:f}" if area is not None else "",
            area_unit=area.unit if area is not None else "",
            edge_m=edge.si if edge is not None else None,
            section_m2=section.si if section is not None else None,
            hardness=draft.get("hardness") or "",
            surface=draft.get("surface") or "",
            coating=draft.get("coating") or "",
            note=draft.get("note") or "",
        )
    ]


SITES = Spec(
    kind="sites",
    fields=(
        Field("site", gettext_lazy("Site"), "text", (
            "site", "site name", "customer", "client", "building", "store", "place", "sitio", "obra",
            "cliente", "tienda",
            "edificio", "nombre del sitio",
        ), ("name", "location", "nombre", "ubicación", "lugar"), required=True),
        Field("address", gettext_lazy("Address"), "text", (
            "address", "street", "site address", "dirección", "direccion", "domicilio", "calle",
        ), ("city", "ciudad")),
        Field("zone", gettext_lazy("Floor"), "text", (
            "zone", "floor", "floor zone", "area name", "room", "aisle", "section name", "zona", "piso",
            "sala", "suelo",
            "pasillo",
        ), ("part", "parte")),
        Field("area", gettext_lazy("Area"), "area", (
            "area", "floor area", "size", "square feet", "sq ft", "sqft", "sf", "m2", "área", "superficie",
            "metros cuadrados", "pies cuadrados",
        ), ("ft2",), dimension="area", area_of="zone"),
        Field("edge", gettext_lazy("Edge length"), "length", (
            "edge", "edge length", "edges", "perimeter", "lineal feet", "linear feet", "lf", "borde", "bordes",
            "longitud de borde", "perímetro", "perimetro",
        ), dimension="length"),
        Field("section", gettext_lazy("Section"), "area", (
            "section", "section size", "section area", "tramo", "sección",
        ), dimension="area", area_of="zone"),
        Field("hardness", gettext_lazy("Hardness"), "choice", (
            "hardness", "mohs", "mohs hardness", "hardness mohs", "scratch hardness", "hard", "dureza", "dureza mohs",
        ), choices=words.HARDNESS),
        Field("surface", gettext_lazy("Surface"), "choice", (
            "surface", "condition", "surface condition", "estado", "estado del piso", "acabado actual",
        ), choices=words.SURFACE),
        Field("coating", gettext_lazy("Coating"), "choice", (
            "coating", "coat", "covering", "recubrimiento", "revestimiento",
        ), choices=words.COATING),
        Field("note", gettext_lazy("Note"), "text", (
            "note", "notes", "comment", "comments", "remarks", "nota", "notas", "comentarios", "observaciones",
        )),
        Field("key", gettext_lazy("Key of this shop"), "text", ("gritledger key", "clave gritledger")),
    ),
    judge=judge_site,
    key_of=lambda item: site_key(item.site, item.zone),
    say=lambda item: ", ".join(part for part in (item.site, item.zone) if part),
    key_field="site",
    twin_question=gettext_lazy("One floor or two?"),
    twin_choices=(("one", gettext_lazy("One floor")), ("two", gettext_lazy("Two floors"))),
    merge=merge_rows,
)  # fmt: skip
