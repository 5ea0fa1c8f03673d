"""What pages show of a ladder plan to the person before them: likely, low to high, and where each number comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from inventory.models import Person
from inventory.queries.catalogue import ladder_of
from inventory.rights import Right
from inventory.units import Dimension, Units, from_si, show_about, show_money, show_number, show_range, show_speed
from jobs.context import units_of
from jobs.costs import worn_by
from jobs.ladder_words import KIT, chosen_words, passes_words, rule_words, skipped_words
from jobs.laddering import ShopLadder
from jobs.models import JobPlan
from jobs.numerics.ladder_kit import KitLine, kit_of
from jobs.numerics.ladder_result import Amount, LadderPlan, StepPlan
from jobs.numerics.ladder_totals import price_floor
from jobs.queries.shift import Logged

_HOURS = "\u00a0h"


@dataclass(frozen=True)
class Said:
    """One number of a plan in words. range: low to high, "" where both read like the likely one."""

    name: str
    likely: str
    range: str
    rule: str


def plan_context(plan: LadderPlan, shop: ShopLadder, person: Person) -> dict[str, Any]:
    """Everything ``jobs/ladder/plan.html`` asks for; money only for who may see it."""
    units, money = units_of(person), person.can(Right.SEE_MONEY)
    hours = _hours(_("Hours"), plan.totals.elapsed_hours, "machine_and_edges")
    shifts = _count(_("Shifts"), plan.totals.shifts, "elapsed_over_shift")
    steps = [_step(step, shop, units, money=money) for step in plan.steps]
    money_lines = _money_lines(plan, shop, units) if money else []
    spans = [hours.range]
    spans += [_("%(range)s shifts") % {"range": shifts.range}] if shifts.range else []
    spans += [_("tools %(range)s") % {"range": money_lines[0].range}] if money and money_lines[0].range else []
    one = len({step["machine"] for step in steps}) == 1
    return {
        "ladder_plan": plan,
        "ladder_hours": hours,
        "ladder_shifts": shifts,
        "ladder_steps": [step | {"machine": ""} for step in steps] if one else steps,
        "ladder_machine": steps[0]["machine"] if one else "",
        "ladder_lines": [hours, shifts, *_lines(plan, units)],
        "ladder_spans": [span for span in spans if span],
        "ladder_money": money_lines,
        "ladder_left_out": _left_out(plan, shop) if money else "",
        "ladder_kit": [_kit(line, shop, units) for line in kit_of(plan, hand_machines=_by_hand(plan, shop))],
        "ladder_chosen": list(dict.fromkeys(chosen_words(one) for one in plan.chosen)),
        "ladder_warnings": skipped_words(plan.chosen, shop.types),
        "ladder_cautions": plan.cautions,
        "may_see_money": money,
    }


def worn_context(plan: JobPlan, logged: Sequence[Logged], shop: ShopLadder, person: Person) -> dict[str, Any]:
    """What a job's tools took so far, step by step and floor by floor; nothing for who may not see money."""
    if not person.can(Right.SEE_MONEY) or not logged:
        return {}
    rows = worn_by(shop, logged)
    floors = {zone.zone_id: zone.zone.name for zone in plan.zones.all()}
    order = {pk: place for pk, (place, _count) in ladder_of(shop.types.values()).items()}
    units = units_of(person)
    lines = [
        {
            "type": shop.types[row.tool_type].said_name if row.tool_type in shop.types else _("out of use"),
            "floor": floors.get(row.floor, "") if row.floor else "",
            "worked": show_about(row.area_m2, units),
            "money": "" if row.money is None else amount_of(row.money, shop.currency),
        }
        for row in sorted(rows, key=lambda row: (order.get(row.tool_type, -1), str(row.floor)))
    ]
    return {"worn_rows": lines, "worn_money": amount_of(sum(row.money or 0.0 for row in rows), shop.currency)}


def _lines(plan: LadderPlan, units: Units) -> list[Said]:
    """The amounts of the whole job; each rule is that of its steps."""
    totals = plan.totals

    def rule(name: str) -> str:
        rules = {getattr(step, name).rule for step in plan.steps}
        # Where steps differ (one is worked dry), the rule of those that count.
        return next(iter(sorted(rules - {"worked_dry"}) or sorted(rules)))

    def area(name: str, field: str) -> Said:
        return _amount(name, getattr(totals, field), rule(field), units, "area")

    def litres(name: str, field: str) -> Said:
        return _amount(name, getattr(totals, field), rule(field), units, "volume")

    lines = [
        _hours(_("Machine"), totals.hours, "running_and_changes"),
        _hours(_("Edges by hand"), totals.edge_hours, rule("edge_hours")),
        Said(_("Tool changes"), show_number(totals.tool_changes), "", ""),
        Said(_("Sections"), show_number(totals.sections), "", _("Area over the area worked through before moving on.")),
        area(_("Worked area"), "worked_m2"),
        area(_("Reference area"), "reference_m2"),
    ]
    if plan.edge_m > 0:
        lines.append(area(_("Edge worked by hand"), "edge_worked_m2"))
    if any(step.water == "wet" for step in plan.steps):
        lines += [
            litres(_("Water"), "water_l"),
            litres(_("Cleaner"), "cleaner_l"),
            _count(_("Tank fills"), totals.fills, rule("fills")),
            _count(_("Recovery tank emptied"), totals.empties, rule("empties")),
            litres(_("Slurry to dispose of"), "slurry_l"),
        ]
    return lines


def _step(step: StepPlan, shop: ShopLadder, units: Units, *, money: bool) -> dict[str, Any]:
    tool_type, places = shop.types[step.step], ladder_of(shop.types.values())
    zones = step.zones
    passes = sorted({round(value) for zone in zones for value in (zone.passes.low, zone.passes.high)})
    planned = sorted({zone.planned_passes for zone in zones})
    speed = _("%(machine)s, %(speed)s, %(rule)s") % {
        "machine": shop.rows[step.machine].name,
        "speed": show_speed(step.speed_m_per_min, units),
        "rule": rule_words(step.speed_rule),
    }
    return {
        "type": tool_type,
        "place": places[tool_type.pk][0],
        "count": places[tool_type.pk][1],
        "passes": _span([str(one) for one in planned]),
        "passes_range": _span([str(passes[0]), str(passes[-1])]) if len(passes) > 1 else "",
        "passes_rule": ", ".join(dict.fromkeys(passes_words(one.passes.rule, one.logged) for one in zones)),
        "machine": speed,
        "hours": _hours("", step.elapsed_hours, "machine_and_edges"),
        "worked": _amount("", step.worked_m2, "area_times_passes", units, "area"),
        "reference": _amount("", step.reference_m2, "worked_times_factor", units, "area"),
        "production": _amount("", step.production_m2_per_h, "production", units, "area"),
        "water": _amount("", step.water_l, step.water_l.rule, units, "volume") if step.water == "wet" else None,
        "cleaner": _amount("", step.cleaner_l, step.cleaner_l.rule, units, "volume"),
        "sets": step.sets_needed,
        "tools": _money("", step.tool_cost, "price_by_share_used", shop.currency) if money and step.tool_cost else None,
    }


def _money_lines(plan: LadderPlan, shop: ShopLadder, units: Units) -> list[Said]:
    floor = price_floor(plan)
    area = from_si(1.0, "ft2" if units == "us" else "m2")  # of one m2
    by_m2 = floor.per_m2
    per = Amount(by_m2.low / area, by_m2.likely / area, by_m2.high / area, by_m2.mean / area, by_m2.rule)
    name = _("A square foot") if units == "us" else _("A square metre")
    lines = [_money(_("Tools worn"), floor.tools, "price_by_share_used", shop.currency)]
    if floor.supplies.high > 0:
        lines.append(_money(_("Supplies"), floor.supplies, "use_by_area_and_edge", shop.currency))
    lines.append(_money(name, per, "", shop.currency, figures=2))
    return lines


def _left_out(plan: LadderPlan, shop: ShopLadder) -> str:
    """What the price floor does not hold, in a sentence."""
    prices = ", ".join(_thing(key, shop) for key in plan.without_price)
    lives = ", ".join(_thing(key, shop) for key in plan.without_life)
    said = []
    if prices:
        said.append(_("Without a price, so not in it: %(things)s.") % {"things": prices})
    if lives:
        said.append(_("Without any rating, so not in it: %(things)s.") % {"things": lives})
    return " ".join(said)


def _thing(key: Any, shop: ShopLadder) -> str:
    return shop.types[key].said_name if key in shop.types else str(KIT.get(str(key), key))


def _by_hand(plan: LadderPlan, shop: ShopLadder) -> tuple[Any, ...]:
    """The hand machine that the edges are worked out with, if they are worked out with one."""
    by_machine = any(step.edge_hours.rule == "edge_by_hand_machine" for step in plan.steps)
    return tuple(one.key for one in shop.machines if one.hand)[:1] if by_machine else ()


def _kit(line: KitLine, shop: ShopLadder, units: Units) -> dict[str, str]:
    if line.kind == "machine":
        name = shop.rows[line.key].name
    elif line.kind == "set":
        name = _("%(n)s × %(type)s") % {"n": round(line.amount), "type": shop.types[line.key].said_name}
    else:
        name = str(KIT.get(str(line.key), line.key))
    amount = show_about(line.amount, units, "volume") if line.unit == "L" else ""
    if line.kind == "supply":
        amount = show_number(line.amount) if line.key == "edge_discs" else show_about(line.amount, units, "volume")
    note = {
        "enough_if_new": _("if they are new"),
        "no_life_known": _("how many is not known: no rating"),
        "local_rules_decide": _("local rules decide where it may go"),
    }.get(line.rule, "")
    return {"name": name, "amount": amount, "note": note}


def _amount(name: str, amount: Amount, rule: str, units: Units, dimension: Dimension) -> Said:
    likely = show_about(amount.likely, units, dimension)
    low, high = show_about(amount.low, units, dimension), show_about(amount.high, units, dimension)
    span = "" if low == high else show_range(amount.low, amount.high, units, dimension)
    return Said(name, likely, span, rule_words(rule))


def _hours(name: str, amount: Amount, rule: str) -> Said:
    low, likely, high = (show_number(value, 1 if value < 20 else 0) for value in _three(amount))
    return Said(name, likely + _HOURS, "" if low == high else _to(low, high) + _HOURS, rule_words(rule))


def _count(name: str, amount: Amount, rule: str) -> Said:
    low, likely, high = (show_number(value) for value in _three(amount))
    return Said(name, likely, "" if low == high else _to(low, high), rule_words(rule))


def _money(name: str, amount: Amount, rule: str, currency: str, *, figures: int = 3) -> Said:
    low, likely, high = (amount_of(value, currency, figures) for value in _three(amount))
    return Said(name, likely, "" if low == high else _to(low, high), rule_words(rule))


def amount_of(value: float, currency: str, figures: int = 3) -> str:
    """Money to three figures: a doubtful amount is not told to the cent."""
    return show_money(Decimal(f"{float(f'{value:.{figures}g}'):.2f}"), currency)


def _three(amount: Amount) -> tuple[float, float, float]:
    return amount.low, amount.likely, amount.high


def _to(low: str, high: str) -> str:
    return _("%(low)s to %(high)s") % {"low": low, "high": high}


def _span(parts: list[str]) -> str:
    return parts[0] if parts[0] == parts[-1] else _to(parts[0], parts[-1])
