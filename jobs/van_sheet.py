"""The words of a van sheet: what goes along, the ladder with its sets, amounts, kit, cautions. Money never."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from inventory.actions.gate import where_of
from inventory.labels import MARKS
from inventory.ledger.conditioning import Conditioning
from inventory.models import Person, SetState
from inventory.times import show_day, show_time, zone_of
from inventory.units import Units, show_area, show_hours, show_length
from jobs.models import PlanZone
from jobs.plan_draft import FINISHES
from jobs.queries.van_sheet import SheetFacts, SheetStep, sections_of


@dataclass(frozen=True)
class SetLine:
    """A set on the paper: its code, its own tag, where it hangs, its water; wet: a drop is drawn beside it."""

    code: str
    tag: str
    where: str
    water: str
    wet: bool


@dataclass(frozen=True)
class StepLine:
    """A step on the paper: its number, grit, type and sign, the floor, what is planned, and its boxes."""

    number: int
    grit: str
    type_name: str
    bond: str
    mark: str
    wet_dry: str
    floor: str
    passes: str
    area: str
    sections: int
    sets: tuple[SetLine, ...]


@dataclass(frozen=True)
class VanSheet:
    """A van sheet in words. facts: lines under the title; address: what the square holds; closed: the shift is over."""

    crumb: str
    title: str
    facts: tuple[str, ...]
    floors: tuple[str, ...]
    steps: tuple[StepLine, ...]
    kit: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]
    coming_back: tuple[tuple[str, str], ...]
    gloss: tuple[str, ...]
    notes: tuple[str, ...]
    address: str
    printed: str
    shop: str


def van_sheet(facts: SheetFacts, person: Person, address: str, now: datetime) -> VanSheet:
    """The paper of a shift, for a reader's units, clock and language. address: of the page it is typed in on."""
    night, units = facts.night, _units(person)
    shift, job = night.shift, night.job
    day = show_day(shift.starts_at.astimezone(zone_of(job.branch)).date())
    number = _("shift %(n)s of %(of)s") % {"n": night.number, "of": night.of}
    return VanSheet(
        crumb=" · ".join((_("Van sheet"), day, number)),
        title=job.name,
        facts=_facts(facts, person),
        floors=tuple(_floor(zone, facts, units) for zone in facts.zones),
        steps=tuple(_step(number, one, facts, person) for number, one in enumerate(facts.steps, start=1)),
        kit=tuple(kit_words(facts, units)),
        cautions=cautions(facts),
        coming_back=tuple((state.tool_set.tool_type.grit, _code(state)) for state in facts.sets),
        gloss=tuple(zone.zone.name for zone in facts.zones),
        notes=tuple(filter(None, (job.site.notes.strip(), night.plan.notes.strip()))),
        address=address,
        printed=_("Printed %(when)s from the ledger as it stood then") % {"when": _when(now, person)},
        shop=job.branch.name,
    )


def _units(person: Person) -> Units:
    return "metric" if person.units == Person.Units.METRIC else "us"


def _when(at: datetime, person: Person) -> str:
    """An instant as paper needs it: with its day, for paper is read on another."""
    branch = person.branch
    day = show_day(at.astimezone(zone_of(branch)).date())
    time = show_time(at, branch, clock_24h=person.clock_24h)
    return _("%(day)s %(time)s") % {"day": day, "time": time}


def _facts(facts: SheetFacts, person: Person) -> tuple[str, ...]:
    night, outing = facts.night, facts.outing
    shift, site = night.shift, night.job.site
    place = ", ".join(filter(None, (site.name, site.address)))
    times = _("Leaves %(leaves)s · starts %(starts)s · ends %(ends)s") % {
        "leaves": _when(facts.leaves_at, person),
        "starts": _when(shift.starts_at, person),
        "ends": _when(shift.ends_at, person),
    }
    lead = _("Crew lead: %(name)s") % {"name": shift.lead.name if shift.lead else "____________________"}
    van = outing.van.name if outing is not None and outing.van is not None else "__________"
    machines = ", ".join(row.machine.name for row in shift.machine_rows.all()) or "____________________"
    finish = FINISHES.get(night.plan.finish_level or 0)
    who = [lead, _("Van: %(van)s") % {"van": van}, _("Machines: %(names)s") % {"names": machines}]
    if finish:
        who.append(_("Finish: %(finish)s") % {"finish": finish})
    # A job named after its site says the place already.
    said = [place] if site.address or site.name not in night.job.name else []
    return (*said, times, " · ".join(who))


def _floor(zone: PlanZone, facts: SheetFacts, units: Units) -> str:
    sections, area = sections_of(zone, facts.settings), show_area(zone.area_m2, units)
    if sections > 1:
        words = _("%(area)s in %(n)s sections of %(section)s")
        area = words % {"area": area, "n": sections, "section": show_area(zone.area_m2 / sections, units)}
    parts = [area]
    if zone.edge_m:
        parts.append(_("edge %(length)s") % {"length": show_length(zone.edge_m, units)})
    hard = _("hardness not tested") if zone.hardness == "unknown" else str(zone.get_hardness_display())
    parts += [hard, str(zone.get_surface_display())]
    if zone.coating != "none":
        parts.append(str(zone.get_coating_display()))
    if zone.zone.notes.strip():
        parts.append(zone.zone.notes.strip())
    return f"{zone.zone.name}: " + ", ".join(parts)


def _step(number: int, one: SheetStep, facts: SheetFacts, person: Person) -> StepLine:
    tool_type, units = one.step.tool_type, _units(person)
    mark = tool_type.own_mark.removeprefix("own-")
    shifts = round(1 / one.share)
    area = show_area(one.zone.area_m2, units)
    if shifts > 1:
        area = _("%(area)s over %(n)s shifts") % {"area": area, "n": shifts}
    passes = ngettext("%(n)s pass", "%(n)s passes", one.step.passes) % {"n": one.step.passes}
    return StepLine(
        number=number,
        grit=tool_type.grit,
        type_name=tool_type.said_name,
        bond=tool_type.bond,
        mark=mark if mark in MARKS or len(mark) <= 2 else "",
        wet_dry=_("dry, on extraction") if one.step.wet_dry == "dry" else _("wet"),
        floor=one.zone.zone.name,
        passes=passes,
        area=area,
        sections=one.sections,
        sets=tuple(_set(state, facts.water[state.pk], person) for state in one.sets),
    )


def _code(state: SetState) -> str:
    return state.shown_code or state.tool_set.tool_type.said_name


def _set(state: SetState, water: Conditioning, person: Person) -> SetLine:
    code = state.code or state.tool_set.own_code or "—"
    tag = state.own_tag if state.code else ""
    wet = water.state not in ("not needed", "unknown need", "dry")
    return SetLine(code, tag, where_of(state), _water(water, person), wet)


def _water(water: Conditioning, person: Person) -> str:
    """A set's water with the days said, since paper is read later."""
    if water.state == "not needed":
        return _("no soak")
    if water.state == "unknown need":
        return _("soak need not known")
    if water.state == "conditioned":
        if water.until is None:
            return _("conditioned while in water")
        return _("conditioned until %(when)s") % {"when": _when(water.until, person)}
    if water.state == "soaked, not confirmed":
        return _("soaked, to be confirmed")
    if water.state == "soaking":
        ready = water.expected_ready_at
        return _("soaking until %(when)s") % {"when": _when(ready, person)} if ready else _("soaking")
    needed = water.why.values.get("missing_hours_cold") or water.why.values.get("cold_hours")
    if isinstance(needed, int | float):
        return _("DRY: needs %(hours)s in water") % {"hours": show_hours(float(needed))}
    return _("DRY")


def kit_words(facts: SheetFacts, units: Units) -> list[str]:
    """What goes along beside sets and machines, by what the work is: common practice, no source."""
    wet = any(one.step.wet_dry != "dry" for one in facts.steps)
    dry = any(one.step.wet_dry == "dry" for one in facts.steps)
    soaks = any(water.state not in ("not needed", "unknown need") for water in facts.water.values())
    edge_m = sum(zone.edge_m for zone in facts.zones)
    kit = [row.machine.name for row in facts.night.shift.machine_rows.all()]
    if edge_m:
        kit.append(_("Edge tool, for %(length)s of edge") % {"length": show_length(edge_m, units)})
    if wet:
        kit += [
            _("Water: ________ for the shift"),
            _("Cleaner: ________, mixed as its sheet says"),
            _("Wet vacuum; drums for slurry"),
            _("Wet-floor signs, cones, tape for the sections"),
        ]
    if soaks:
        kit.append(_("Bucket with water and lid for soaked sets"))
    if dry:
        kit.append(_("Dust extractor with HEPA filter, HEPA vacuum, respirators"))
    kit.append(_("Height gauge, gloss meter, thermometer"))
    kit.append(_("Eye protection, waterproof gloves, hearing protection, first aid"))
    return kit


def cautions(facts: SheetFacts) -> tuple[tuple[str, str], ...]:
    """The cautions of the shift, each with what to do: the words of ``parts/cautions.html``, which names sources."""
    wet = any(one.step.wet_dry != "dry" for one in facts.steps)
    said = [
        (
            _("Concrete dust holds silica, which harms lungs for good. Wet or extracted, never dry without."),
            _(
                "Water feed or dust extraction runs before the tool touches the floor. Respirator as the tool's sheet "
                "and local rules ask."
            ),
        )
    ]
    if wet:
        said += [
            (
                _("Slurry is alkaline, near pH 12: it burns skin and eyes."),
                _(
                    "Waterproof gloves and eye protection. Rinse off splashes at once with plenty of clean water; for "
                    "eyes, get medical help."
                ),
            ),
            (
                _("A wet floor slips."),
                _("Close the section off, pick up on every pass, keep cables and plugs out of the water."),
            ),
            (
                _("Waste water and slurry go where local rules say. Keep them out of storm drains."),
                _(
                    "Contain, collect and ask before anything is let go. This program never says that a discharge is "
                    "allowed."
                ),
            ),
        ]
    if any(water.state == "soaking" for water in facts.water.values()):
        said.append(
            (
                _("Hot water scalds: 130 °F (54 °C) in 30 s, 140 °F (60 °C) in 6 s."),
                _("Gloves, eye protection and a hook or basket. Keep the lid on and others away."),
            )
        )
    said += [
        (
            _("Lift with two people, a ramp or a hoist."),
            _(
                "Even an ideal lift, close and upright, ends at 51 lb (23 kg) for one person; far, low or twisted, "
                "well below."
            ),
        ),
        (
            _("Makers' sheets, local codes and licensed people come before this program."),
            _("Where they say otherwise, follow them."),
        ),
    ]
    return tuple(said)


def left_words() -> tuple[str, ...]:
    """How a set can be left, in the order of paper and page."""
    return (
        pgettext("how a set is left", "in water"),
        pgettext("how a set is left", "in van"),
        pgettext("how a set is left", "left dry"),
        pgettext("how a set is left", "came back"),
    )
