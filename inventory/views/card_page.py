"""What a set's ledger card shows beside the page of the set: ledger, curve, tables, flags, labels, price."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby
from typing import Any

from django.contrib.sessions.backends.base import SessionBase
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory import hooks
from inventory.estimate import SetLife
from inventory.flags import flag_words
from inventory.labels import AddressNotPrintable, code_address, qr_svg
from inventory.ledger.facts import SetFacts, facts_from_json
from inventory.ledger_words import Reader, mark_of_entry, sentence, who_said
from inventory.life_curve import CurveFacts, curve_rows, curve_sentence, curves, height_range
from inventory.life_record import curve_facts, model_of_set
from inventory.models import Entry, Person, SetState
from inventory.models.choices import Hardness, Kind, TimeKnown
from inventory.queries import card
from inventory.queries.catalogue import ladder
from inventory.queries.soak import waters_of
from inventory.rights import Right
from inventory.shop_settings import ShopSettings, floor_factor, settings_of
from inventory.times import show_day, show_time, zone_of
from inventory.units import show_about, show_area, show_height, show_hours, show_money
from inventory.views.set_page import set_context

ON_CARD = 30
_BEGINNINGS = (Kind.RECEIVED, Kind.OPENING)
# What can be said anew on the card; of a soak its time.
SOAK_KINDS = (Kind.SOAK_BEGUN, Kind.SOAK_ENDED)
CORRECTED = (Kind.WORKED, Kind.MEASURED, Kind.DRESSED, Kind.PIECES_CHANGED, *SOAK_KINDS)


@dataclass
class CardLine:
    """One entry on the card. voided: by whom and why, or "". may_void, may_correct: what the person may do with it."""

    id: Any
    time: str
    mark: str
    words: str
    who: str
    voided: str = ""
    flags: list[str] = field(default_factory=list)
    may_void: bool = False
    may_correct: bool = False


@dataclass
class CardDay:
    """The entries of one day."""

    day: str
    lines: list[CardLine]


def card_context(state: SetState, person: Person, now: datetime, session: SessionBase | None = None) -> dict[str, Any]:
    """Everything the card shows of one set. state: with type, place, outing and holder loaded."""
    today = now.astimezone(zone_of(person.branch)).date()
    settings = settings_of(person.branch, today=today)
    facts = facts_from_json(state.facts)
    ledger = card.ledger_of(state.pk)
    names = _names(ledger.entries, facts)
    reader = _reader(ledger, person, settings, names, today)
    context = set_context(state, person, now, None, session, reverse("inventory:toolset", args=[state.pk]))
    waters = waters_of([state], person.branch, at=now)
    context |= {
        "days": days_of(ledger, ledger.lines[:ON_CARD], reader, facts),
        "entry_count": len(ledger.lines),
        "more_entries": len(ledger.lines) > ON_CARD,
        "flags": flags_of(ledger, facts, reader),
        "outings": [_outing_row(one, person, today) for one in card.who_had_it(ledger)],
        "visits": [_visit_row(one, names, settings, person, today) for one in card.where_it_worked(facts)],
        "heights": [_height_row(one, person, today) for one in reversed(card.heights_of(ledger))],
        "soaks": [_soak_row(one, person, today) for one in card.soaks_of(state, waters, now)],
        "labels": [_label_row(one, person, today) for one in card.labels_of(ledger.set_ids)],
        "beginning": _beginning(ledger, person),
        "qr": qr_of(state, person),
        "actions": _actions(context),
        "may_settle": person.can(Right.SETTLE),
        **_life(state, facts, ledger, settings, person, context, today),
    }
    return context


def ledger_context(state: SetState, person: Person, now: datetime) -> tuple[card.Ledger, Reader, SetFacts]:
    """What the pages of the whole ledger are made of."""
    today = now.astimezone(zone_of(person.branch)).date()
    settings = settings_of(person.branch, today=today)
    facts, ledger = facts_from_json(state.facts), card.ledger_of(state.pk)
    return ledger, _reader(ledger, person, settings, _names(ledger.entries, facts), today), facts


def _names(entries: Iterable[Entry], facts: SetFacts) -> dict[Any, str]:
    wanted = {key for one in entries if one.kind == Kind.WORKED for key in (one.visit_uuid, one.floor_uuid) if key}
    return dict(hooks.names_of_work(wanted)) if wanted else {}


def _reader(ledger: card.Ledger, person: Person, settings: ShopSettings, names: dict[Any, str], today: date) -> Reader:
    others = [one.other_set_id for one in ledger.entries if one.other_set_id is not None]
    return Reader(person, settings, names, card.codes_of(sorted(set(others))), today)


# --- the ledger ---


def days_of(ledger: card.Ledger, entries: Sequence[Entry], reader: Reader, facts: SetFacts) -> list[CardDay]:
    """Entries grouped by the branch's day, newest first; with what may be done with each."""
    person, zone = reader.person, zone_of(reader.person.branch)
    closed = _closed(entries, person)
    flags: dict[str, list[str]] = {}
    for entry_id, code in facts.open_flags:
        flags.setdefault(entry_id, []).append(str(flag_words(code).sentence))
    days = []
    for day, of_day in groupby(entries, key=lambda one: one.act.happened_at.astimezone(zone).date()):
        lines = [_line(one, ledger, reader, flags.get(str(one.pk), []), closed) for one in of_day]
        days.append(CardDay(show_day(day, reader.today), lines))
    return days


def _closed(entries: Sequence[Entry], person: Person) -> frozenset[Any]:
    """The closed shifts among them; not asked where the person may void anything anyhow."""
    if person.can(Right.SETTLE):
        return frozenset()
    shifts = {one.shift_uuid for one in entries if one.shift_uuid is not None}
    return hooks.closed_shifts(shifts) if shifts else frozenset()


def _line(entry: Entry, ledger: card.Ledger, reader: Reader, flags: list[str], closed: frozenset[Any]) -> CardLine:
    person, act = reader.person, entry.act
    void = ledger.voids.get(entry.pk)
    voided = ""
    if void is not None:
        voided = _("Voided by %(person)s: %(why)s") % {"person": void.act.done_by.name, "why": void.why or ""}
    own = person.pk in (act.done_by_id, act.entered_by_id) and entry.shift_uuid not in closed
    may = void is None and entry.kind != Kind.VOIDED and (own or person.can(Right.SETTLE))
    return CardLine(
        entry.pk,
        time_words(entry, person),
        mark_of_entry(entry) if void is None else "",
        sentence(entry, reader),
        who_said(entry),
        voided,
        flags if void is None else [],
        may,
        may and entry.kind in CORRECTED,
    )


def time_words(entry: Entry, person: Person) -> str:
    """The time of day, as far as it is known."""
    if entry.act.time_known == TimeKnown.DAY:
        return ""
    time = show_time(entry.act.happened_at, person.branch, clock_24h=person.clock_24h)
    return _("about %(time)s") % {"time": time} if entry.act.time_known == TimeKnown.SHIFT else time


def flags_of(ledger: card.Ledger, facts: SetFacts, reader: Reader) -> list[dict[str, Any]]:
    """The flags nobody has settled: what does not fit, about which entry, what next, and the answers."""
    by_id = {str(one.pk): one for one in ledger.entries}
    found = []
    for entry_id, code in facts.open_flags:
        words, entry = flag_words(code), by_id.get(entry_id)
        answers = (
            [("accept", _("Accept it")), ("leave_out", _("Leave it out"))]
            if code == "held_back"
            else [("seen", _("It is right as it is")), ("corrected", _("It is corrected"))]
        )
        about = ""
        if entry is not None:
            day = entry.act.happened_at.astimezone(zone_of(reader.person.branch)).date()
            about = f"{show_day(day, reader.today)} {time_words(entry, reader.person)} {sentence(entry, reader)}"
        found.append(
            {
                "entry": entry_id,
                "code": code,
                "sentence": words.sentence,
                "next_step": words.next_step,
                "about": about,
                "answers": answers,
            }
        )
    return found


# --- tables ---


def _at(at: datetime, person: Person, today: date) -> str:
    local = at.astimezone(zone_of(person.branch))
    return f"{show_day(local.date(), today)} {show_time(at, person.branch, clock_24h=person.clock_24h)}"


def _outing_row(one: card.Held, person: Person, today: date) -> list[dict[str, Any]]:
    worked = show_about(one.worked_m2, person.units) if one.worked_m2 else "–"  # type: ignore[arg-type]
    return [
        {"label": _("Outing"), "words": one.outing or one.holder, "head": True},
        {"label": _("With"), "words": one.holder},
        {"label": _("From"), "words": _at(one.since, person, today)},
        {"label": _("Until"), "words": _at(one.until, person, today) if one.until else _("still out")},
        {"label": _("Worked"), "words": worked, "num": True},
    ]


def _visit_row(
    one: card.Visit, names: dict[Any, str], settings: ShopSettings, person: Person, today: date
) -> list[dict[str, Any]]:
    floor = ", ".join(dict.fromkeys(names[key] for key in (one.visit, one.floor) if key in names))
    reference = sum(
        use.area_m2 * floor_factor(settings, use.hardness, use.surface, use.wet_dry, use.step_kind) for use in one.uses
    )
    kinds = {use.hardness for use in one.uses}
    bases = {use.basis for use in one.uses}
    doubt = _(" (guessed)") if "guessed" in bases else _(" (as planned)") if "planned" in bases else ""
    return [
        {"label": _("Floor"), "words": floor or _("a floor without a name"), "head": True},
        {"label": _("Last"), "words": show_day(one.at.astimezone(zone_of(person.branch)).date(), today)},
        {"label": _("Hardness"), "words": ", ".join(_hardness(kind) for kind in sorted(kinds))},
        {"label": _("Worked"), "words": show_about(one.worked_m2, person.units) + doubt, "num": True},  # type: ignore[arg-type]
        {"label": _("Of reference"), "words": show_about(reference, person.units), "num": True},  # type: ignore[arg-type]
    ]


def _hardness(kind: str) -> str:
    return str(Hardness(kind).label) if kind in Hardness.values else kind


def _height_row(one: Entry, person: Person, today: date) -> list[dict[str, Any]]:
    units = person.units
    mean = show_height(one.mean_height_mm, units) if one.mean_height_mm is not None else "–"  # type: ignore[arg-type]
    return [
        {"label": _("Read"), "words": _at(one.act.happened_at, person, today), "head": True},
        {"label": _("Lowest piece"), "words": show_height(one.lowest_height_mm or 0.0, units), "num": True},  # type: ignore[arg-type]
        {"label": _("Mean"), "words": mean, "num": True},
        {"label": _("By"), "words": one.act.done_by.name},
    ]


def _soak_row(one: card.Soak, person: Person, today: date) -> list[dict[str, Any]]:
    answer = one.answer
    ready = (
        _at(answer.ready_at, person, today)
        if answer.ready_at
        else _("its earlier soak counts")
        if one.earlier
        else _("not yet")
        if one.ended_at is None
        else _("too short")
    )
    return [
        {"label": _("Tub"), "words": one.tub or _("not known"), "head": True},
        {"label": _("From"), "words": _at(one.begun_at, person, today)},
        {"label": _("Until"), "words": _at(one.ended_at, person, today) if one.ended_at else _("in water now")},
        {"label": _("Hours"), "words": show_hours(round(answer.total_hours, 1)), "num": True},
        {
            "label": _("Of them hot"),
            "words": show_hours(round(answer.hot_hours, 1)) if answer.hot_hours else "–",
            "num": True,
        },
        {"label": _("Ready"), "words": ready},
    ]


def _label_row(one: Any, person: Person, today: date) -> list[dict[str, Any]]:
    return [
        {"label": _("Code"), "words": one.code, "head": True},
        {"label": _("Since"), "words": _at(one.opened_at, person, today) if one.opened_at else ""},
        {
            "label": _("Replaced"),
            "words": _at(one.replaced_at, person, today) if one.replaced_at else _("no, it is the one on it"),
        },
    ]


def _beginning(ledger: card.Ledger, person: Person) -> str:
    """ "received 12 Jan 2025, $310": the price only for who may see money."""
    first = next((one for one in ledger.standing if one.kind in _BEGINNINGS), None)
    if first is None:
        return ""
    day = show_day(first.act.happened_at.astimezone(zone_of(person.branch)).date())
    year = first.act.happened_at.astimezone(zone_of(person.branch)).year
    said = _("received %(day)s %(year)s") if first.kind == Kind.RECEIVED else _("taken over %(day)s %(year)s")
    said = said % {"day": day, "year": year}
    line = first.order_line
    if line is not None and line.price is not None and person.can(Right.SEE_MONEY):
        said += ", " + show_money(line.price, line.currency or person.branch.currency)
    return said


def qr_of(state: SetState, person: Person) -> SafeString | None:
    """The square of the label, as it is printed; None without a code or an address for labels."""
    base = person.branch.label_address
    if not state.code or not base:
        return None
    try:
        address = code_address(base, state.code)
        name = _("Label %(code)s") % {"code": state.code}
        return mark_safe(qr_svg(address, module=3, name=name))  # noqa: S308 - qr_svg escapes its name
    except AddressNotPrintable:
        return None


def _actions(context: dict[str, Any]) -> list[dict[str, Any]]:
    """The likeliest action filled, then all others, as one row."""
    first = context["first"]
    row = [{**first, "kind": "fill"}] if first else []
    seen = {first["url"]} if first else set()
    return row + [one for one in [*context["beside"], *context["more"]] if one["url"] not in seen]


# --- life ---


def _life(
    state: SetState,
    facts: SetFacts,
    ledger: card.Ledger,
    settings: ShopSettings,
    person: Person,
    context: dict[str, Any],
    today: date,
) -> dict[str, Any]:
    """The curve, its numbers as a table, and what stands behind it."""
    life: SetLife | None = context.get("life")
    if life is not None:
        # On the same floor as the likely life beside it.
        low, _likely, high = life.on_floor(context["life_factor"])
        context["life_low"], context["life_high"] = (
            show_about(area, person.units)  # type: ignore[arg-type]
            for area in (low, high)
        )
    model = model_of_set(state, settings)
    place = ladder(person.branch).get(state.tool_set.tool_type_id, (0, 1))
    begun = datetime.fromisoformat(facts.born_at) if facts.born_at else None
    curve = None if model is None else curve_facts(state, model, life, place, begun)
    if model is None or curve is None:
        return {"curves": [], "lowest": _lowest(state, ledger, None, person, today)}
    units: Any = person.units
    heads = [_("When"), _("Reference area"), _("Lowest piece"), _("What")]
    rows = [
        [
            {"label": heads[0], "words": _at(at, person, today) if at else "", "head": True},
            {"label": heads[1], "words": area, "num": True},
            {"label": heads[2], "words": height, "num": True},
            {"label": heads[3], "words": words},
        ]
        for at, area, height, words in curve_rows(curve, units)
    ]
    past = curve.past_m2
    return {
        "curves": [mark_safe(svg) for svg in curves(curve, units)],  # noqa: S308 - chart escapes all words
        "curve_words": curve_sentence(curve, units),
        "curve_table": rows,
        "curve_heads": rows[0],
        "curve_ladder": place[1],
        "curve_from": _behind(curve.readings, model.worn_out),
        "lowest": _lowest(state, ledger, curve, person, today),
        "past_words": show_area(past, units) if past > 1 and state.opening != "new" else "",
        "repieced": facts.repieced,
    }


def _behind(readings: int, worn_out: int) -> str:
    """What stands behind the curve."""
    sets = ngettext("%(n)d worn-out set of this type", "%(n)d worn-out sets of this type", worn_out) % {"n": worn_out}
    if not readings:
        if not worn_out:
            return _("From the supplier's word alone: no set of this type has worn out here yet.")
        return _("From the supplier's word and %(sets)s.") % {"sets": sets}
    own = ngettext("%(n)d reading", "%(n)d readings", readings) % {"n": readings}
    if not worn_out:
        return _("From %(readings)s; no set of this type has worn out here yet.") % {"readings": own}
    return _("From %(readings)s and %(sets)s.") % {"readings": own, "sets": sets}


def _lowest(
    state: SetState, ledger: card.Ledger, curve: CurveFacts | None, person: Person, today: date
) -> dict[str, str]:
    """The newest height with its day, and what is likely today where the set has worked since."""
    units: Any = person.units
    found: dict[str, str] = {}
    if state.lowest_height_mm is not None:
        read = card.heights_of(ledger)
        day = read[-1].act.happened_at.astimezone(zone_of(person.branch)).date() if read else None
        found = {"read": show_height(state.lowest_height_mm, units), "day": show_day(day, today) if day else ""}
    if curve is not None and curve.life is not None:
        now = curve.now
        since = not curve.points or now.used_m2 > curve.points[-1].used_m2 + 0.5
        if since and now.used_m2 > 0.5:
            found["likely"] = show_height(now.likely_mm, units)
            found["between"] = height_range(now.low_mm, now.high_mm, units)
    return found
