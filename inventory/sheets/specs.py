"""The list of sets a shop keeps: its columns and their words."""

from __future__ import annotations

from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.units import from_si, show_entered, show_money

from .bought import bought_words
from .fields import Field
from .merging import merge_rows
from .set_rows import SetRow, code_key, judge_set
from .spec import Spec

__all__ = ["SETS", "SetRow", "code_key"]


def _key(item: SetRow) -> str | None:
    return code_key(item.own_code) if item.own_code else None


def _say(item: SetRow) -> str:
    """All that comes in of a set, in a few words."""
    parts = (
        item.type_name,
        item.own_code,
        item.where,
        "" if item.pieces is None else ngettext("%(n)s piece", "%(n)s pieces", item.pieces) % {"n": item.pieces},
        _left(item),
        _("glazed") if item.trouble else "",
        _("set aside") if item.set_aside else "",
        {"worn": _("worn"), "broken": _("broken")}.get(item.retired_why, ""),
        _("worked %(area)s") % {"area": item.worked} if item.worked else "",
        bought_words(item.bought_on) if item.bought_on is not None else "",
        show_money(item.price, item.currency) if item.price is not None else "",
    )
    return ", ".join(part for part in parts if part)


def _left(item: SetRow) -> str:
    """What is kept of the height, in the unit it was written in: the backing is taken off before."""
    if item.lowest_height_mm is None:
        return {
            "new": _("new"),
            "three_quarters": _("about three quarters left"),
            "half": _("about half left"),
            "quarter": _("about a quarter left"),
        }.get(item.opening_kind, "")
    unit = item.amount_unit or "mm"
    left, off = (_height(mm, unit) for mm in (item.lowest_height_mm - item.backing_mm, item.backing_mm))
    if not item.with_backing:
        return _("tool height %(height)s") % {"height": left}
    return _("tool height %(height)s, backing %(backing)s taken off") % {"height": left, "backing": off}


def _height(mm: float, unit: str) -> str:
    return show_entered(Decimal(str(round(from_si(mm, unit), 4))), unit)


SETS = Spec(
    kind="sets",
    fields=(
        Field("type", gettext_lazy("Grit and bond"), "grit", (
            "grit and bond", "tool type", "type", "disc", "disk", "pad", "tool", "tooling", "grit", "description",
            "segment", "item", "abrasive", "diamond", "grano", "disco", "herramienta", "tipo", "tipo de herramienta",
            "descripción", "descripcion", "diamante", "grit size",
        ), ("name", "product", "article", "nombre", "producto", "artículo", "model"), required=True),
        Field("bond", gettext_lazy("Bond"), "bond", ("bond", "bond type", "matrix", "liga", "aglomerante", "liante")),
        Field("mount", gettext_lazy("Mount or size"), "text", (
            "mount", "size", "fit", "fits", "diameter", "montura", "tamaño", "medida", "diámetro",
        )),
        Field("count", gettext_lazy("How many sets"), "count", (
            "how many", "how many sets", "sets", "qty sets", "number of sets", "cuántos", "juegos",
        ), ("qty", "quantity", "count", "number", "cantidad", "cant", "no of", "stock", "on hand")),
        Field("pieces", gettext_lazy("Pieces of a set"), "count", (
            "pieces", "pieces per set", "pieces a set", "pieces of a set", "pcs per set", "pcs/set", "pcs",
            "pieces/set", "number of pieces", "no of pieces", "segments per set", "discs per set", "piezas",
            "piezas por juego", "piezas de un juego", "número de piezas", "pzas", "pzs",
        ), ("pc", "pieces left", "pads per set")),
        Field("code", gettext_lazy("Old code"), "code", (
            "old code", "code", "id", "tag", "set", "set id", "set code", "set no", "set number", "label", "tool id",
            "serial", "código", "codigo", "etiqueta", "clave", "número de juego", "#", "no", "nr",
        ), ("ref", "reference", "referencia", "mark")),
        Field("height", gettext_lazy("Tool height"), "height", (
            "tool height", "height", "height left", "segment height", "remaining height", "thickness", "left",
            "lowest height", "lowest", "altura", "altura restante", "alto", "espesor", "grosor", "altura de segmento",
            "height with backing", "measured", "calliper", "caliper",
        ), ("remaining", "wear", "resta", "queda"), dimension="height"),
        Field("state", gettext_lazy("What is left, or state"), "state", (
            "state", "condition", "status", "life", "life left", "wear state", "estado", "condición",
            "condicion", "vida",
        ), ("worn", "used", "uso", "desgaste")),
        Field("place", gettext_lazy("Place"), "text", (
            "place", "where", "location", "rack", "peg", "shelf", "position", "bin", "lugar", "dónde", "donde",
            "ubicación", "ubicacion", "estante",
        ), ("van", "at", "in")),
        Field("worked", gettext_lazy("Worked area"), "area", (
            "worked area", "area run", "run", "area done", "area", "sf run", "sqft run", "coverage so far",
            "total area",
            "área", "area trabajada", "área trabajada", "superficie", "m2 hechos",
        ), ("sf", "sqft", "sq ft", "ft2", "m2", "usage", "coverage", "worked"), dimension="area", area_of="worked"),
        Field("bought", gettext_lazy("Bought on"), "date", (
            "bought on", "bought", "purchased", "purchase date", "date bought", "buy date", "received", "date received",
            "since", "in service", "comprado", "fecha de compra", "compra", "recibido", "fecha",
        ), ("date", "day", "when"), past=True),
        Field("price", gettext_lazy("Price of a set"), "money", (
            "price", "cost", "paid", "price paid", "unit cost", "unit price", "precio", "costo", "coste", "pagado",
        ), ("value", "valor", "$")),
        Field("note", gettext_lazy("Note"), "text", (
            "note", "notes", "comment", "comments", "remarks", "remark", "nota", "notas", "comentario", "comentarios",
            "observaciones",
        ), ("info", "other", "otros")),
        Field("key", gettext_lazy("Key of this shop"), "text", ("gritledger key", "clave gritledger")),
    ),
    judge=judge_set,
    key_of=_key,
    say=_say,
    key_field="code",
    twin_question=gettext_lazy("One set or two?"),
    twin_choices=(("two", gettext_lazy("Two sets")), ("one", gettext_lazy("One set"))),
    merge=merge_rows,
)  # fmt: skip
