"""Words people write in cells, in English and Spanish, and what they mean."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from functools import lru_cache

BONDS = {
    "metal": "metal", "met": "metal", "m": "metal", "metálico": "metal", "metalico": "metal", "metálica": "metal",
    "metalica": "metal", "metal bond": "metal", "mb": "metal",
    "hybrid": "hybrid", "hyb": "hybrid", "h": "hybrid", "híbrido": "hybrid", "hibrido": "hybrid",
    "híbrida": "hybrid", "hibrida": "hybrid", "transitional": "hybrid", "transition": "hybrid", "trans": "hybrid",
    "transición": "hybrid", "hybrid bond": "hybrid",
    "resin": "resin", "res": "resin", "r": "resin", "resina": "resin", "resin bond": "resin", "rb": "resin",
}  # fmt: skip

# What is left of a set, when somebody wrote a word instead of a height: opening kinds.
OPENINGS = {
    "new": "new", "brand new": "new", "unused": "new", "never used": "new", "full": "new", "nuevo": "new",
    "nueva": "new", "nuevos": "new", "nuevas": "new", "sin usar": "new", "sin uso": "new", "100%": "new",
    "3/4": "three_quarters", "75%": "three_quarters", "three quarters": "three_quarters",
    "three quarter": "three_quarters", "tres cuartos": "three_quarters", "good": "three_quarters",
    "1/2": "half", "50%": "half", "half": "half", "half worn": "half", "half used": "half", "half life": "half",
    "half gone": "half", "1/2 worn": "half", "mitad": "half", "medio": "half", "media": "half",
    "a medias": "half", "medio uso": "half", "media vida": "half", "medio gastado": "half",
    "1/4": "quarter", "25%": "quarter", "quarter": "quarter", "a quarter": "quarter", "one quarter": "quarter",
    "un cuarto": "quarter", "cuarto": "quarter", "almost worn": "quarter", "low": "quarter",
    "almost gone": "quarter", "casi gastado": "quarter",
    "?": "unknown", "??": "unknown", "unknown": "unknown", "not known": "unknown", "unk": "unknown", "n/a": "unknown",
    "na": "unknown", "-": "unknown", "used": "unknown", "don't know": "unknown", "no idea": "unknown",
    "desconocido": "unknown", "no sé": "unknown", "no se sabe": "unknown", "usado": "unknown", "usada": "unknown",
    "s/d": "unknown",
}  # fmt: skip
# A word of feeling is no measure: such an opening is asked about even in a state column.
SOFT_OPENINGS = frozenset({"good", "low", "almost worn", "almost gone", "casi gastado"})

_FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4"}
_SHARE = re.compile(
    r"(?:about |approx |~|ca )?(1/2|1/4|3/4|50 ?%|25 ?%|75 ?%|half|quarter|three quarters?)"
    r" ?(?:is |of life )?(left|remaining|worn|used|gone|resta|queda|gastad[oa]|usad[oa])?"
)
_GONE = frozenset({"worn", "used", "gone", "gastado", "gastada", "usado", "usada"})
_OTHER_SHARE = {"half": "half", "quarter": "three_quarters", "three_quarters": "quarter"}


def opening_of(text: str) -> str:
    """The opening kind that a text says in words or as a share, "" for none: "½ worn", "3/4 left", "half".

    A share that is worn leaves the rest: "1/4 worn" is three quarters left.
    """
    word = text.lower().strip(" .")
    for sign, fraction in _FRACTIONS.items():
        word = word.replace(sign, fraction)
    if word in OPENINGS:
        return OPENINGS[word]
    found = _SHARE.fullmatch(word)
    if not found:
        return ""
    share = OPENINGS[found[1].replace(" %", "%")]
    return _OTHER_SHARE[share] if found[2] in _GONE else share


# What of a set is troubled though it can work.
TROUBLES = {
    "glazed": "glazed", "glazed over": "glazed", "needs dressing": "glazed", "to dress": "glazed", "dress": "glazed",
    "vidriado": "glazed", "vidriada": "glazed", "cristalizado": "glazed", "cristalizada": "glazed",
}  # fmt: skip

FITNESS = {
    "set aside": "set_aside", "aside": "set_aside", "chipped": "set_aside", "damaged": "set_aside",
    "repair": "set_aside", "check": "set_aside", "apartado": "set_aside", "dañado": "set_aside",
    "revisar": "set_aside", "roto": "broken", "rota": "broken", "broken": "broken",
    "worn": "worn", "worn out": "worn", "retired": "worn", "finished": "worn", "done": "worn", "scrap": "worn",
    "dead": "worn", "gastado": "worn", "gastada": "worn", "agotado": "worn", "retirado": "worn", "baja": "worn",
    "lost": "missing", "missing": "missing", "gone": "missing", "perdido": "missing", "perdida": "missing",
    "ok": "usable", "usable": "usable", "in use": "usable", "en uso": "usable", "in service": "usable",
    "active": "usable", "activo": "usable",
}  # fmt: skip

# What people write into a cell that has nothing to say.
NOTHING = frozenset({
    "n/a", "na", "n.a", "-", "--", "–", "—", "none", "nil", "?", "??", "tbd", "unknown", "not known", "s/d", "ninguno",
    "ninguna", "desconocido", "no se sabe",
})  # fmt: skip
# Shapes in which such a word is no value of its own (a height "?" is one: not known).
CAN_BE_NOTHING = frozenset({"money", "date", "count", "length", "hours", "area", "chance"})


def says_nothing(text: str, shape: str) -> bool:
    """Whether a cell of a shape says in a word or a dash that there is nothing to say."""
    return shape in CAN_BE_NOTHING and text.lower().strip(" .") in NOTHING


YES = frozenset({"yes", "y", "x", "true", "1", "ok", "sí", "si", "s", "verdadero", "✓", "✔", "t"})
NO = frozenset({"no", "n", "false", "0", "-", "falso", "f"})

HARDNESS = {
    "soft": "soft", "blando": "soft", "suave": "soft", "s": "soft",
    "medium": "medium", "med": "medium", "normal": "medium", "medio": "medium", "media": "medium", "m": "medium",
    "hard": "hard", "duro": "hard", "dura": "hard", "h": "hard", "very hard": "hard", "muy duro": "hard",
    "unknown": "unknown", "?": "unknown", "not known": "unknown", "desconocida": "unknown", "desconocido": "unknown",
}  # fmt: skip
SURFACE = {
    "raw": "raw", "bare": "raw", "new": "raw", "bruto": "raw", "desnudo": "raw", "nuevo": "raw",
    "worn": "worn", "worn by traffic": "worn", "traffic": "worn", "rough": "worn", "gastado": "worn",
    "desgastado": "worn", "tránsito": "worn",
    "coated": "coated", "painted": "coated", "recubierto": "coated", "pintado": "coated", "sealed": "coated",
    "ground": "ground", "ground before": "ground", "desbastado": "ground", "rectificado": "ground",
    "polished": "polished", "polished before": "polished", "pulido": "polished",
}  # fmt: skip
COATING = {
    "none": "none", "no": "none", "ninguno": "none", "ninguna": "none", "sin": "none", "-": "none",
    "sealer": "sealer", "sealed": "sealer", "sellador": "sealer",
    "paint": "paint", "painted": "paint", "pintura": "paint",
    "epoxy": "epoxy", "epoxi": "epoxy", "epóxico": "epoxy", "epóxica": "epoxy",
    "glue": "glue", "adhesive": "glue", "mastic": "glue", "pegamento": "glue", "adhesivo": "glue", "cola": "glue",
}  # fmt: skip
BASIS = {
    "measured": "measured", "meas": "measured", "medido": "measured", "medida": "measured",
    "section done": "section_done", "section": "section_done", "sections": "section_done", "sección": "section_done",
    "planned": "planned", "plan": "planned", "planeado": "planned", "previsto": "planned",
    "guessed": "guessed", "guess": "guessed", "estimate": "guessed", "estimated": "guessed", "est": "guessed",
    "about": "guessed", "estimado": "guessed", "aproximado": "guessed",
}  # fmt: skip
WET_DRY = {"wet": "wet", "húmedo": "wet", "humedo": "wet", "mojado": "wet", "dry": "dry", "seco": "dry"}
STANDING = {
    "bid": "bid", "quoted": "bid", "quote": "bid", "offer": "bid", "open": "bid", "pending": "bid",
    "presupuesto": "bid", "oferta": "bid", "cotizado": "bid", "pendiente": "bid",
    "won": "won", "awarded": "won", "booked": "won", "sold": "won", "confirmed": "won", "scheduled": "won",
    "ganado": "won", "adjudicado": "won", "confirmado": "won", "contratado": "won",
    "lost": "lost", "not awarded": "lost", "perdido": "lost",
    "cancelled": "cancelled", "canceled": "cancelled", "cancelado": "cancelled",
    "done": "done", "finished": "done", "complete": "done", "completed": "done", "closed": "done",
    "terminado": "done", "hecho": "done", "acabado": "done",
}  # fmt: skip
JOB_KIND = {
    "full": "full", "full polish": "full", "polish": "full", "new": "full", "pulido": "full", "completo": "full",
    "refresh": "refresh", "repolish": "refresh", "re polish": "refresh", "repaso": "refresh",
    "upkeep": "upkeep", "maintenance": "upkeep", "mantenimiento": "upkeep",
}  # fmt: skip
FINISH = {
    "1": "1", "flat": "1", "mate": "1", "2": "2", "satin": "2", "satinado": "2", "3": "3", "polished": "3",
    "pulido": "3", "4": "4", "highly polished": "4", "high gloss": "4", "muy pulido": "4", "alto brillo": "4",
}  # fmt: skip

# The first word of a place's name tells what it is.
PLACES = {
    "rack": "rack", "shelf": "rack", "peg": "rack", "bay": "rack", "wall": "rack", "estante": "rack",
    "estantería": "rack", "tub": "tub", "tank": "tub", "bath": "tub", "tina": "tub", "cuba": "tub", "bucket": "bucket",
    "pail": "bucket", "cubo": "bucket", "cubeta": "bucket", "crate": "crate", "box": "crate", "case": "crate",
    "caja": "crate", "van": "van", "truck": "van", "trailer": "van", "furgoneta": "van", "camioneta": "van",
    "site": "site", "job": "site", "obra": "site", "supplier": "supplier", "proveedor": "supplier",
}  # fmt: skip


@lru_cache(maxsize=20_000)
def squeezed(text: str) -> str:
    """A name as it is compared: lower case, letters and digits alone, zeros before a number dropped."""
    parts = re.findall(r"[^\W\d_]+|\d+", text.lower())
    return " ".join(part.lstrip("0") or "0" if part.isdecimal() else part for part in parts)


# Comparing with every one of ten thousand codes takes a second; a slip of the pen keeps length and beginning.
_COMPARE_ALL = 300


def nearest(text: str, names: Iterable[str], cutoff: float = 0.6, most: int = 3) -> list[str]:
    """The names most like a text, best first, at most so many."""
    wanted = squeezed(text)
    by_form: dict[str, str] = {}
    for name in names:
        by_form.setdefault(squeezed(name), name)
    forms: Iterable[str] = by_form
    if len(by_form) > _COMPARE_ALL:
        forms = [form for form in by_form if form[:1] == wanted[:1] and abs(len(form) - len(wanted)) <= 1][
            :_COMPARE_ALL
        ]
    return [by_form[form] for form in difflib.get_close_matches(wanted, forms, n=most, cutoff=cutoff)]
