"""The list of jobs: a row for a job, or a row for each of its steps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.sheets import words
from inventory.sheets.cells import Grit, show_date
from inventory.sheets.draft import Draft
from inventory.sheets.fields import Field
from inventory.sheets.merging import merge_rows
from inventory.sheets.set_rows import match_type
from inventory.sheets.spec import Spec
from inventory.units import Amount, judge_passes
from jobs.plan_draft import FINISHES


@dataclass(frozen=True)
class StepSaid:
    """One step: the key and name of its tool type, passes (None: the shop's usual), its day if said."""

    tool_type: str
    type_name: str
    passes: int | None = None
    on: date | None = None


@dataclass(frozen=True)
class JobRow:
    """A job, or one step of one, as a row says it. Keys are "" for what the shop does not have yet.

    award_chance from 0 to 1, None when not said; standing and job_kind by their codes, "" when not said; area in m2.
    unnamed: the row names its site alone; ``job`` then tells it by its day too, which is no part of the name it gets.
    """

    job: str
    site: str = ""
    site_key: str = ""
    zone: str = ""
    area_m2: float | None = None
    starts_on: date | None = None
    ends_on: date | None = None
    nights: int | None = None
    standing: str = ""
    award_chance: float | None = None
    job_kind: str = ""
    finish_level: int | None = None
    steps: tuple[StepSaid, ...] = ()
    note: str = ""
    unnamed: bool = False


@dataclass
class JobSaid:
    """All that the accepted rows say of one job: the facts of its first row that has each, zones and steps in order."""

    head: JobRow
    zones: list[tuple[str, float | None]] = field(default_factory=list)
    steps: list[tuple[str, StepSaid]] = field(default_factory=list)


def job_key(name: str) -> str:
    """A job as it is compared."""
    return f"job:{words.squeezed(name)}"


def judge_job(draft: Draft) -> list[JobRow]:
    """The job, and the steps, that a row means."""
    site_text = (draft.get("site") or "")[:80]
    starts: date | None = draft.get("starts")
    ends: date | None = draft.get("ends")
    name = (draft.get("job") or "")[:80]
    if not name and not site_text:
        draft.refuse("job", _("The job's name, or at least its site."))
    if starts is None and draft.get("step_date") is None:
        draft.refuse("starts", _("The day the job starts."))
    if starts and ends and ends < starts:
        draft.refuse("ends", _("An end on or after its start, %(day)s.") % {"day": show_date(starts)})
    site = next(iter(draft.known.named("sites", site_text)), None)
    passes = draft.get("passes")
    if passes is not None:
        judged = judge_passes(passes)
        if judged.answer == "refuse":
            draft.refuse("passes", judged.sentence)
        if judged.answer == "ask":
            passes = passes if _kept(draft, "passes", judged.sentence) else None
    nights = draft.get("nights")
    if nights is not None and nights > 60 and not _kept(draft, "nights", _("Most jobs take a few nights.")):
        nights = None
    steps: list[StepSaid] = []
    said: list[Grit] = [*([draft.get("step")] if draft.get("step") else []), *(draft.get("ladder") or ())]
    for grit in said:
        column = "step" if draft.get("step") is grit else "ladder"
        tool_type = match_type(draft, grit, grit.bond or draft.get("bond") or "", column)
        steps.append(StepSaid(tool_type.key, tool_type.name, passes, draft.get("step_date")))
    area: Amount | None = draft.get("area")
    chance = draft.get("chance")
    standing = draft.get("standing") or ""
    if standing in {"won", "done"} and chance is None:
        chance = 1.0
    if standing in {"lost", "cancelled"} and chance is None:
        chance = 0.0
    finish = draft.get("finish")
    return [
        JobRow(
            job=name or (f"{site_text} {show_date(starts)}" if starts else site_text),
            unnamed=not name,
            site=site.name if site is not None else site_text,
            site_key=site.key if site is not None else "",
            zone=(draft.get("zone") or "")[:80],
            area_m2=area.si if area is not None else None,
            starts_on=starts or draft.get("step_date"),
            ends_on=ends,
            nights=nights,
            standing=standing,
            award_chance=chance,
            job_kind=draft.get("kind") or "",
            finish_level=int(finish) if finish else None,
            steps=tuple(steps),
            note=draft.get("note") or "",
        )
    ]


def _kept(draft: Draft, name: str, why: str) -> bool:
    return (
        draft.ask(
            name,
            "size",
            _("Is it really %(value)s?") % {"value": draft.text(name)},
            why,
            (("keep", _("Keep it")), ("leave", _("Leave it empty"))),
        )
        == "keep"
    )


def _row_key(item: JobRow) -> str:
    """Rows with steps are about one step of one floor; rows without about the job."""
    if not item.steps:
        return job_key(item.job) + (f"|{words.squeezed(item.zone)}" if item.zone else "")
    return f"{job_key(item.job)}|{words.squeezed(item.zone)}|{'+'.join(step.tool_type for step in item.steps)}"


def group_jobs(items: Iterable[JobRow]) -> list[JobSaid]:
    """The accepted rows gathered by job, in the order of the list.

    A job starts on its earliest day; of each other fact the first row that says it holds.
    """
    jobs: dict[str, JobSaid] = {}
    for item in items:
        key = job_key(item.job)
        if key not in jobs:
            jobs[key] = JobSaid(item)
        else:
            head = jobs[key].head
            starts = min((day for day in (head.starts_on, item.starts_on) if day is not None), default=None)
            filled: dict[str, Any] = {
                name: value for name, value in vars(item).items() if vars(head)[name] in (None, "", ()) and value
            }
            jobs[key].head = JobRow(**{**vars(head), **filled, "starts_on": starts})
        new_floor = all(words.squeezed(name) != words.squeezed(item.zone) for name, _area in jobs[key].zones)
        if (item.zone or item.area_m2) and new_floor:
            jobs[key].zones.append((item.zone, item.area_m2))
        jobs[key].steps.extend((item.zone, step) for step in item.steps)
    return list(jobs.values())


JOBS = Spec(
    kind="jobs",
    fields=(
        Field("job", gettext_lazy("Job"), "text", (
            "job", "job name", "project", "project name", "job no", "job number", "trabajo", "proyecto",
            "nombre del trabajo",
        ), ("name", "title", "nombre")),
        Field("site", gettext_lazy("Site"), "text", (
            "site", "site name", "customer", "client", "building", "store", "sitio", "obra", "cliente", "tienda",
        ), ("location", "place", "lugar", "ubicación")),
        Field("zone", gettext_lazy("Floor"), "text", ("zone", "floor", "room", "aisle", "zona", "piso",
            "sala", "pasillo")),
        Field("area", gettext_lazy("Area"), "area", (
            "area", "floor area", "square feet", "sq ft", "sqft", "sf", "m2", "área", "superficie",
        ), ("size",), dimension="area", area_of="zone"),
        Field("starts", gettext_lazy("Starts on"), "date", (
            "starts on", "start", "starts", "start date", "first night", "begin", "begins", "from", "inicio", "empieza",
            "fecha de inicio", "comienzo", "desde",
        ), ("date", "when", "fecha", "scheduled", "night of")),
        Field("ends", gettext_lazy("Ends on"), "date", (
            "ends on", "end", "ends", "end date", "last night", "until", "to", "fin", "termina",
            "fecha de fin", "hasta",
        )),
        Field("nights", gettext_lazy("Nights"), "count", (
            "nights", "shifts", "days", "number of nights", "no of shifts", "noches", "turnos", "jornadas", "días",
        )),
        Field("standing", gettext_lazy("Bid, won or done"), "choice", (
            "standing", "status", "stage", "state", "estado", "situación", "etapa",
        ), choices=words.STANDING),
        Field("chance", gettext_lazy("Award chance"), "chance", (
            "award chance", "chance", "probability", "prob", "likelihood", "win chance", "odds", "probabilidad",
            "posibilidad",
        ), ("%", "percent")),
        Field("kind", gettext_lazy("Kind of job"), "choice", (
            "kind", "type", "job type", "kind of job", "tipo", "clase", "tipo de trabajo",
        ), choices=words.JOB_KIND),
        Field("finish", gettext_lazy("Finish"), "choice", (
            "finish", "finish level", "level", "gloss", "appearance", "acabado", "nivel", "brillo",
        ), choices=words.FINISH, choice_names={str(level): name for level, name in FINISHES.items()}),
        Field("step", gettext_lazy("Step"), "grit", (
            "step", "grit", "tool", "tool type", "disc", "paso", "grano", "herramienta",
        )),
        Field("bond", gettext_lazy("Bond"), "bond", ("bond", "liga", "aglomerante")),
        Field("ladder", gettext_lazy("All steps"), "ladder", (
            "steps", "ladder", "grits", "all steps", "grit ladder", "sequence", "pasos", "granos", "secuencia",
        )),
        Field("passes", gettext_lazy("Passes"), "count", ("passes", "pass", "pasadas", "no of passes")),
        Field("step_date", gettext_lazy("Night of the step"), "date", (
            "step date", "night", "night of step", "day", "noche", "fecha del paso", "día",
        )),
        Field("note", gettext_lazy("Note"), "text", (
            "note", "notes", "comment", "comments", "remarks", "nota", "notas", "comentarios", "observaciones",
        )),
        Field("key", gettext_lazy("Key of this shop"), "text", ("gritledger key", "clave gritledger")),
    ),
    judge=judge_job,
    key_of=_row_key,
    say=lambda item: ", ".join(
        part
        for part in (
            item.job,
            item.zone,
            " + ".join(step.type_name for step in item.steps),
            show_date(item.starts_on) if item.starts_on else "",
        )
        if part
    ),
    key_field="job",
    twin_question=gettext_lazy("One job or two?"),
    twin_choices=(("one", gettext_lazy("One job")), ("two", gettext_lazy("Two jobs"))),
    merge=merge_rows,
)  # fmt: skip
