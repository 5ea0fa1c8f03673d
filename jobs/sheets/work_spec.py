"""The list of work done: which set polished what area, when and where."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.sheets import words
from inventory.sheets.cells import Grit, show_date
from inventory.sheets.draft import Draft
from inventory.sheets.fields import MOST_PLACES, Field, Thing
from inventory.sheets.merging import merge_rows
from inventory.sheets.spec import Spec
from inventory.units import Amount, judge_area, judge_passes, show_area

# So many names stand in a refusal.
NAMED = 8


@dataclass(frozen=True)
class WorkRow:
    """One line of work: `area_m2` per pass, whole passes; keys of the set, job (or site) and zone ("" where none).

    basis: measured, section_done, planned or guessed. value and unit: the area as entered (of all passes together
    when `entered_total`). person: key of who did the work, who: the name as written where nobody of the shop has it.
    """

    set_key: str
    set_code: str
    on: date
    area_m2: float
    passes: int
    basis: str
    value: str
    unit: str
    entered_total: bool = False
    job_key: str = ""
    site_key: str = ""
    zone_key: str = ""
    where: str = ""
    tool_type: str = ""
    grit: str = ""
    wet_dry: str = ""
    machine: str = ""
    person: str = ""
    who: str = ""
    note: str = ""


def _set(draft: Draft) -> Thing:
    text = draft.get("set")
    form = words.squeezed(text)
    found = list({each.key: each for each in draft.known.named("sets", text)}.values())
    grit: Grit | None = draft.get("step")
    if len(found) > 1 and grit is not None:
        types = {each.key for each in draft.known.tool_types if each.grit == grit.grit}
        found = [each for each in found if each.tool_type in types] or found
    if len(found) == 1:
        return found[0]
    if not found:
        near = words.nearest(text, (each.name for each in draft.known.sets), 0.75)
        draft.refuse(
            "set",
            _("The code of a set you have. Bring in the list of sets first, if it is new."),
            near[0] if near else "",
        )
    chosen = draft.ask(
        "set",
        "which",
        _("Which %(code)s?") % {"code": text},
        _("%(n)s sets have this code.") % {"n": len(found)},
        [(each.key, ", ".join(part for part in (each.name, each.says) if part)) for each in found[:6]],
        like=f"which:{form}",
    )
    return next(each for each in found if each.key == chosen)


def _named(draft: Draft, name: str, right: str, inside: str = "") -> Thing | None:
    """The job, site or zone that a cell names; None for an empty cell. Two of one name are asked about."""
    text = draft.get(name)
    if not text:
        return None
    kinds: dict[str, Literal["jobs", "sites", "zones"]] = {"job": "jobs", "site": "sites", "zone": "zones"}
    kind = kinds[name]
    found = [each for each in draft.known.named(kind, text) if not inside or each.inside == inside]
    if not found:
        names = [each.name for each in getattr(draft.known, kind) if not inside or each.inside == inside]
        near = words.nearest(text, names, 0.7)
        draft.refuse(name, f"{right} {_there_are(draft, kind, text, names)}".strip(), near[0] if near else "")
    if len(found) == 1:
        return found[0]
    chosen = draft.ask(
        name,
        "which",
        _("Which %(name)s?") % {"name": text},
        _("You have %(n)s of this name.") % {"n": len(found)},
        [(each.key, ", ".join(part for part in (each.name, each.says) if part)) for each in found[:6]],
        like=f"which:{name}:{words.squeezed(text)}",
    )
    return next(each for each in found if each.key == chosen)


def _there_are(draft: Draft, kind: Literal["jobs", "sites", "zones"], text: str, names: list[str]) -> str:
    """Which names a cell may hold: all of a few, of many those most like what stands there; "" when there are none."""
    memory = (kind, "there", text, str(len(names)))
    if len(names) > NAMED:
        found = draft.known.near.get(memory)
        if found is None:
            near = words.nearest(text, names, 0.3, most=NAMED)
            found = draft.known.near[memory] = [draft.known.named(kind, each)[0] for each in near]
        return _("Nearest: %(names)s.") % {"names": ", ".join(each.name for each in found)} if found else ""
    return _("You have: %(names)s.") % {"names": ", ".join(names)} if names else ""


def _anywhere(draft: Draft) -> tuple[Thing | None, Thing | None]:
    """The job or site of a row that names neither: asked where no column says it, so nothing could be typed there."""
    known = draft.known
    if draft.has("job") or draft.has("site") or not (known.jobs or known.sites):
        draft.refuse("job", _("The job or the site where the set worked."))
    things = [
        *((f"job:{each.key}", each) for each in known.jobs),
        *((f"site:{each.key}", each) for each in known.sites),
    ]
    labels = [(key, each.name) for key, each in things]
    chosen = draft.ask(
        "job",
        "anywhere",
        _("At which job or site did these sets work?"),
        _("No column of this list says it."),
        labels[:3],
        like="anywhere",
        listed=labels[3:MOST_PLACES],
    )
    found = dict(things)[chosen]
    return (found, None) if chosen.startswith("job:") else (None, found)


def _zone(draft: Draft, site_key: str) -> Thing | None:
    if draft.get("zone"):
        return _named(draft, "zone", _("A floor of this site."), inside=site_key)
    zones = tuple(each for each in draft.known.zones if each.inside == site_key)
    if len(zones) < 2:
        return zones[0] if zones else None
    chosen = draft.ask(
        "zone",
        "zone",
        _("Which floor?"),
        _("The site has %(n)s floors and the row names none.") % {"n": len(zones)},
        [(each.key, each.name) for each in zones[:6]],
        like=f"zone:{site_key}",
    )
    return next(each for each in zones if each.key == chosen)


def _person(draft: Draft) -> tuple[str, str]:
    """Who did the work: the key of somebody of the shop, or the words the list has ("" each when it says nothing).

    Only a whole name is somebody without asking: two people may share a first name, and one of them may have left.
    """
    text = (draft.get("who") or "").strip()
    if not text:
        return "", ""
    people = draft.known.people
    exact = list({each.key: each for each in draft.known.named("people", text)}.values())
    if len(exact) == 1:
        return exact[0].key, ""
    near = exact or draft.known.like("people", text, 0.6)[:3]
    others = [each for each in people if each not in near][:MOST_PLACES]
    chosen = draft.ask(
        "who",
        "who",
        _("Who is “%(name)s”?") % {"name": text[:60]},
        _("Nobody here has exactly this name. The work counts as done by whom you choose, entered by you."),
        [
            *((f"person:{each.key}", each.name) for each in near),
            ("words", _("Nobody here: keep the name as a note")),
        ],
        like=f"who:{words.squeezed(text)}",
        listed=[(f"person:{each.key}", each.name) for each in others],
    )
    return ("", text[:80]) if chosen == "words" else (chosen.removeprefix("person:"), "")


def _told_already(draft: Draft, the_set: Thing, on: date) -> bool:
    """Whether work lies before a set's beginning on record and its beginning tells of it already.

    A height or "not known" leaves no doubt: the beginning moves before the work, its height stays when it was measured.
    """
    since = the_set.since
    if the_set.until is not None and on > the_set.until:
        draft.refuse("on", _("A day until %(day)s: the set was retired then.") % {"day": show_date(the_set.until)})
    if since is None or on >= since or the_set.opening in ("height", "unknown"):
        return False
    if the_set.opening in ("received", "new"):
        draft.refuse("on", _("A day from %(day)s on: the set began new then.") % {"day": show_date(since)})
    left = {
        "three_quarters": _("about three quarters left"),
        "half": _("about half left"),
        "quarter": _("about a quarter left"),
    }[the_set.opening]
    chosen = draft.ask(
        "on",
        "before",
        _("Is this work in “%(left)s” already?") % {"left": left},
        _("%(code)s came in on %(day)s with %(left)s.") % {"code": the_set.name, "day": show_date(since), "left": left},
        (("in", _("Yes, leave it out")), ("after", _("No, that was left before this work"))),
        like="before",
    )
    return chosen == "in"


def _day(draft: Draft, the_set: Thing) -> date | None:
    """The day of the work; asked about when the set was bought after it. None: the row is left out."""
    on: date = draft.get("on")
    if the_set.bought is None or on >= the_set.bought:
        return on
    turned = None
    if on.day <= 12 and on.day != on.month:
        turned = on.replace(month=on.day, day=on.month)
    answers = [("keep", _("It worked then: its list has the wrong day")), ("out", _("Leave it out"))]
    if turned is not None and the_set.bought <= turned <= draft.known.today:
        answers.insert(0, ("turned", _("Month and day turned: %(day)s") % {"day": show_date(turned)}))
    chosen = draft.ask(
        "on",
        "bought",
        _("Did %(code)s work on %(day)s?") % {"code": the_set.name, "day": show_date(on)},
        _("By its list it was bought on %(day)s.") % {"day": show_date(the_set.bought)},
        answers,
        like="bought",
    )
    return None if chosen == "out" else turned if chosen == "turned" else on


def judge_work(draft: Draft) -> list[WorkRow]:
    """The work that a row means."""
    units = draft.known.units
    the_set = _set(draft)
    on = _day(draft, the_set)
    if on is None or _told_already(draft, the_set, on):
        return []
    job = _named(draft, "job", _("A job you have. Bring in the list of jobs first, if it is new."))
    site = _named(draft, "site", _("A site you have. Bring in the list of sites first, if it is new."))
    if job is None and site is None:
        job, site = _anywhere(draft)
    site_key = job.inside if job is not None else site.key if site is not None else ""
    if job is not None and site is not None and job.inside and job.inside != site.key:
        draft.refuse("site", _("The site of the job %(job)s.") % {"job": job.name})
    zone = _zone(draft, site_key)
    passes = draft.get("passes") or 1
    judged = judge_passes(passes)
    if judged.answer == "refuse":
        draft.refuse("passes", judged.sentence)
    if judged.answer == "ask":
        draft.ask(
            "passes", "size", _("Is it really %(n)s?") % {"n": passes}, judged.sentence, (("keep", _("Keep it")),)
        )
    amount: Amount = draft.get("area")
    floor = zone.area_m2 if zone is not None else None
    per_pass, total = amount.si, False
    if passes > 1 and floor and amount.si > 1.2 * floor and amount.si / passes <= 1.2 * floor:
        total = (
            draft.ask(
                "area",
                "total",
                _("Is %(area)s all %(n)s passes together?") % {"area": show_area(amount.si, units), "n": passes},
                _("The floor has %(area)s.") % {"area": show_area(floor, units)},
                (("total", _("All passes together")), ("each", _("Each pass"))),
            )
            == "total"
        )
        per_pass = amount.si / passes if total else amount.si
    judged = judge_area(per_pass, units, "pass", floor_m2=floor if not total else None)
    if judged.answer == "refuse":
        draft.refuse("area", judged.sentence)
    if judged.answer == "ask" and not (passes > 1 and floor and total):
        draft.ask(
            "area",
            "big",
            _("Is it really %(area)s in one pass?") % {"area": show_area(per_pass, units)},
            judged.sentence,
            (("keep", _("Keep it")),),
        )
    grit: Grit | None = draft.get("step")
    if grit is not None and the_set.tool_type:
        of_set = next((each for each in draft.known.tool_types if each.key == the_set.tool_type), None)
        if of_set is not None and of_set.grit != grit.grit:
            draft.refuse(
                "step",
                _("The grit of the set %(code)s: %(grit)s.") % {"code": the_set.name, "grit": of_set.grit},
                of_set.grit,
            )
    person, who = _person(draft)
    return [
        WorkRow(
            set_key=the_set.key,
            set_code=the_set.name,
            on=on,
            area_m2=per_pass,
            passes=passes,
            basis=draft.get("basis") or ("guessed" if amount.about else "section_done"),
            value=f"{amount.value:f}",
            unit=amount.unit,
            entered_total=total,
            job_key=job.key if job is not None else "",
            site_key=site_key,
            zone_key=zone.key if zone is not None else "",
            where=", ".join(each.name for each in (job or site, zone) if each is not None),
            tool_type=the_set.tool_type,
            grit=grit.grit if grit is not None else "",
            wet_dry=draft.get("wet_dry") or "",
            machine=draft.get("machine") or "",
            person=person,
            who=who,
            note=draft.get("note") or "",
        )
    ]


WORK = Spec(
    kind="work",
    fields=(
        Field("set", gettext_lazy("Set"), "code", (
            "set", "set code", "code", "tool set", "tool", "set id", "id", "tag", "juego", "código", "codigo",
            "código de juego", "herramienta", "#",
        ), ("disc", "label", "disco", "etiqueta"), required=True),
        Field("on", gettext_lazy("Day"), "date", (
            "date", "day", "night", "shift", "shift date", "worked on", "when", "fecha", "día", "dia", "noche", "turno",
        ), required=True, past=True),
        Field("job", gettext_lazy("Job"), "text", (
            "job", "job name", "project", "trabajo", "proyecto", "job no",
        )),
        Field("site", gettext_lazy("Site"), "text", (
            "site", "customer", "client", "store", "building", "sitio", "obra", "cliente", "tienda",
        ), ("where", "location", "place", "lugar", "dónde")),
        Field("zone", gettext_lazy("Floor"), "text", ("zone", "floor", "room", "aisle", "zona", "piso",
            "sala", "pasillo")),
        Field("step", gettext_lazy("Step"), "grit", ("step", "grit", "paso", "grano")),
        Field("area", gettext_lazy("Area"), "area", (
            "area", "worked area", "area done", "area polished", "sf", "sqft", "sq ft", "square feet", "m2", "área",
            "superficie", "metros cuadrados", "pies cuadrados", "area per pass",
        ), ("done", "production", "hecho", "producción"), required=True, dimension="area", area_of="worked"),
        Field("passes", gettext_lazy("Passes"), "count", ("passes", "pass", "no of passes", "pasadas", "vueltas")),
        Field("basis", gettext_lazy("How it is known"), "choice", (
            "basis", "how known", "source", "known by", "base", "cómo se sabe", "origen",
        ), choices=words.BASIS),
        Field("wet_dry", gettext_lazy("Wet or dry"), "choice", (
            "wet dry", "wet or dry", "wet/dry", "húmedo o seco",
        ), ("wet", "water", "agua"), choices=words.WET_DRY),
        Field("machine", gettext_lazy("Machine"), "text", ("machine", "grinder", "máquina", "maquina", "equipo")),
        Field("who", gettext_lazy("Done by"), "text", (
            "done by", "who", "by", "person", "operator", "worker", "crew", "crew member", "polisher", "employee",
            "polished by", "worked by", "ran by", "run by", "hecho por", "quién", "quien", "operador", "operario",
            "persona", "trabajador", "empleado",
        ), ("name", "lead", "crew lead", "foreman", "nombre", "encargado")),
        Field("note", gettext_lazy("Note"), "text", (
            "note", "notes", "comment", "comments", "remarks", "nota", "notas", "comentarios", "observaciones",
        )),
        Field("key", gettext_lazy("Key of this shop"), "text", ("gritledger key", "clave gritledger")),
    ),
    judge=judge_work,
    key_of=lambda item: None,
    say=lambda item: f"{item.set_code}, {show_date(item.on)}, {item.where}",
    key_field="set",
    twin_question=gettext_lazy("Worked once or twice?"),
    twin_choices=(("one", gettext_lazy("Once, written twice")), ("two", gettext_lazy("Twice"))),
    merge=merge_rows,
)  # fmt: skip
