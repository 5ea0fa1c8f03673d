"""The form of a plan: the job's facts, and rows of floors, steps and shifts. Works without script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django import forms
from django.http import QueryDict
from django.utils.dateparse import parse_date
from django.utils.translation import gettext_lazy as _

from inventory.forms.amounts import AmountField, UnitsForm
from inventory.forms.shop_form import ShopForm
from inventory.models import Branch, Machine, Person, ToolType
from inventory.models.choices import Coating, Hardness, StepKind, Surface, WetDry
from inventory.rights import Right
from inventory.times import show_day
from inventory.units import Units
from jobs.models import JobKind, Site, Standing, Zone
from jobs.plan_draft import FINISHES, PlanDraft, ShiftDraft, StepDraft, ZoneDraft

# Passes proposed for a ladder: first step 6 to 8, later ones about 5 (common practice).
FIRST_PASSES, LATER_PASSES = 7, 5
# More rows of a table than any plan has (our assumption).
_MOST_ROWS = 200
AS_FLOOR = ("", _("as the floor"))
Rows = list[dict[str, Any]]


class QuietUUID(forms.UUIDField):
    """A key the page made."""

    widget = forms.HiddenInput


class Row(ShopForm):
    """A row of one of the tables; it is filled in when its main answer is, whatever the page proposed beside it."""

    main = ""

    def has_changed(self) -> bool:
        """Whether the main answer was given."""
        return bool(self.data.get(self.add_prefix(self.main)))


class PlanForm(ShopForm):
    """The job's own facts."""

    name = forms.CharField(label=_("Job"), max_length=80)
    kind = forms.ChoiceField(label=_("Kind"), choices=JobKind.choices)
    standing = forms.ChoiceField(label=_("Standing"), choices=Standing.choices)
    award_percent = forms.IntegerField(label=_("Award chance"), min_value=0, max_value=100)
    starts_on = forms.DateField(label=_("Starts on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    confirmed = forms.BooleanField(label=_("Dates are confirmed"), required=False)
    finish_level = forms.TypedChoiceField(
        label=_("Finish"),
        choices=[("", _("not said")), *((level, words) for level, words in FINISHES.items())],
        coerce=int,
        empty_value=None,
        required=False,
    )
    notes = forms.CharField(label=_("Notes"), required=False, widget=forms.Textarea(attrs={"rows": 2}))
    edited_from = forms.IntegerField(widget=forms.HiddenInput)
    job_id = forms.UUIDField(widget=forms.HiddenInput)
    sure = forms.BooleanField(label=_("It is right so"), required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["award_percent"].unit = "%"  # type: ignore[attr-defined]


class ZoneRow(Row, UnitsForm):
    """A floor of the job; what is left empty is as the site's floor says."""

    main = "zone"

    key = QuietUUID(required=False)
    zone = forms.ModelChoiceField(label=_("Floor"), queryset=Zone.objects.none())
    area_m2 = AmountField("area", label=_("Area"), required=False)
    edge_m = AmountField("length", label=_("Edge"), required=False)
    hardness = forms.ChoiceField(label=_("Hardness"), choices=[AS_FLOOR, *Hardness.choices], required=False)
    surface = forms.ChoiceField(label=_("Surface"), choices=[AS_FLOOR, *Surface.choices], required=False)
    coating = forms.ChoiceField(label=_("Coating"), choices=[AS_FLOOR, *Coating.choices], required=False)

    def __init__(self, *args: Any, choices: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _pick(self, "zone", choices.zones)


class StepRow(Row):
    """A step of the ladder on one floor."""

    main = "tool_type"

    key = QuietUUID(required=False)
    zone = forms.ModelChoiceField(label=_("Floor"), queryset=Zone.objects.none())
    tool_type = forms.ModelChoiceField(label=_("Tool type"), queryset=ToolType.objects.none())
    passes = forms.IntegerField(label=_("Passes"))
    step_kind = forms.ChoiceField(label=_("Kind"), choices=StepKind.choices, initial=StepKind.LATER, required=False)
    wet_dry = forms.ChoiceField(label=_("Water"), choices=WetDry.choices, initial=WetDry.WET, required=False)
    shift = forms.ChoiceField(label=_("Shift"), required=False)

    def __init__(self, *args: Any, choices: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _pick(self, "zone", choices.zones)
        _pick(self, "tool_type", choices.tool_types)
        shift = self.fields["shift"]
        assert isinstance(shift, forms.ChoiceField)
        shift.choices = [("", _("by turn")), *choices.shifts]


class ShiftRow(Row):
    """One night or day; an end before the start is on the next day."""

    main = "day"

    key = QuietUUID(required=False)
    day = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    starts = forms.TimeField(label=_("From"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    ends = forms.TimeField(label=_("Until"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    lead = forms.ModelChoiceField(label=_("Crew lead"), queryset=Person.objects.none(), required=False)
    machines = forms.ModelMultipleChoiceField(label=_("Machines"), queryset=Machine.objects.none(), required=False)

    def __init__(self, *args: Any, choices: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _pick(self, "lead", choices.leads)
        _pick(self, "machines", choices.machines)
        self.fields["machines"].widget.attrs["size"] = 2


class Choices:
    """What the rows choose from, read once for all of them."""

    def __init__(self, site: Site, branch: Branch) -> None:
        self.zones = Zone.objects.filter(site=site, active=True).order_by("name")
        self.tool_types = ToolType.objects.filter(active=True).order_by("ladder_place", "name")
        self.machines = Machine.objects.filter(branch=branch, active=True).order_by("name")
        self.leads = (
            Person.objects.filter(branch=branch, is_active=True, right_rows__right=Right.LOG_WORK)
            .distinct()
            .order_by("name")
        )
        self.shifts: list[tuple[str, str]] = []
        self.branch = branch


def _pick(form: forms.Form, name: str, queryset: Any) -> None:
    """Let a field choose from a queryset; its rows are read once for all forms of the page."""
    chosen = form.fields[name]
    assert isinstance(chosen, forms.ModelChoiceField)
    # The queryset checks what comes in; the labels come from one list kept on it.
    chosen.queryset = queryset
    if not hasattr(queryset, "read_once"):
        queryset.read_once = [(row.pk, row.name) for row in queryset]
    empty = [] if isinstance(chosen, forms.ModelMultipleChoiceField) else [("", "—")]
    chosen.widget.choices = [*empty, *queryset.read_once]


PREFIXES: Mapping[str, type[forms.Form]] = {"zones": ZoneRow, "steps": StepRow, "shifts": ShiftRow}


class PlanForms:
    """The plan's form and its three tables of rows, bound to what was sent or filled from a draft."""

    def __init__(
        self,
        choices: Choices,
        units: Units,
        *,
        data: QueryDict | None = None,
        rows: Any = None,
        held: PlanDraft | None = None,
    ) -> None:
        """data: what was sent; else rows: what to show. held: the version that was opened, for what nobody touched."""
        self.choices, self.units, self.held = choices, units, held
        self.data = data
        sent = {prefix: _sent_rows(prefix, data) for prefix in PREFIXES} if data is not None else dict(rows["rows"])
        self.rows: dict[str, Rows] = sent
        choices.shifts = _shift_names(sent["shifts"])
        self.plan = PlanForm(data) if data is not None else PlanForm(initial=rows["plan"])
        self.tables = {prefix: self._table(prefix, bound=data is not None) for prefix in PREFIXES}

    def _table(self, prefix: str, *, bound: bool) -> list[Any]:
        made = []
        for number, row in enumerate(self.rows[prefix]):
            more: dict[str, Any] = {"choices": self.choices, "prefix": f"{prefix}-{number}", "auto_id": "id_%s"}
            if prefix == "zones":
                more["units"] = self.units
            if bound:
                if prefix == "zones":
                    more["initial"] = self._floor_before(row)
                made.append(PREFIXES[prefix](self.data, empty_permitted=True, use_required_attribute=False, **more))
            else:
                made.append(PREFIXES[prefix](initial=row, use_required_attribute=False, **more))
        return made

    def _floor_before(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """The floor as it was opened: amounts nobody touched keep their exact value."""
        before = (
            next((one for one in self.held.zones if str(one.filled().key) == row["key"]), None) if self.held else None
        )
        return {"area_m2": before.filled().area_m2, "edge_m": before.filled().edge_m} if before else {}

    def unbound(self, rows: dict[str, Rows]) -> PlanForms:
        """The same answers with other rows, shown without refusals: a row was added or taken away."""
        assert self.data is not None
        plan: dict[str, Any] = {name: self.data.get(name, "") for name in self.plan.fields}
        plan["confirmed"] = bool(self.data.get("confirmed"))
        return PlanForms(self.choices, self.units, rows={"plan": plan, "rows": rows}, held=self.held)

    def is_valid(self) -> bool:
        """Whether every field reads; rows left empty are passed over."""
        every = [self.plan, *(form for forms_ in self.tables.values() for form in forms_)]
        valid = [form.is_valid() for form in every]  # every form, so that all is said at once
        return all(valid)

    def draft(self, zone: ZoneInfo) -> PlanDraft:
        """The plan that was sent; call after is_valid."""
        said = self.plan.cleaned_data
        before = {row.key: row for row in self.held.shifts} if self.held else {}
        shifts = [_shift(row, zone, before.get(row["key"])) for row in self._filled("shifts")]
        return PlanDraft(
            starts_on=said["starts_on"],
            kind=said["kind"],
            standing=said["standing"],
            award_chance=said["award_percent"] / 100,
            confirmed=said["confirmed"],
            finish_level=said["finish_level"],
            notes=said["notes"],
            zones=tuple(_zone(row) for row in self._filled("zones")),
            steps=tuple(self._step(row) for row in self._filled("steps")),
            shifts=tuple(shifts),
        )

    def _filled(self, prefix: str) -> Iterable[dict[str, Any]]:
        return [form.cleaned_data for form in self.tables[prefix] if form.has_changed()]

    def _step(self, row: dict[str, Any]) -> StepDraft:
        keys = {one["zone"].pk: one["key"] for one in self._filled("zones") if one["key"]}
        return StepDraft(
            zone_key=keys.get(row["zone"].pk, row["zone"].pk),
            tool_type=row["tool_type"],
            passes=row["passes"],
            step_kind=row["step_kind"] or StepKind.LATER,
            wet_dry=row["wet_dry"] or WetDry.WET,
            shift_key=UUID(row["shift"]) if row["shift"] else None,
            key=row["key"] or uuid4(),
        )


def _zone(row: dict[str, Any]) -> ZoneDraft:
    names = ("area_m2", "edge_m", "hardness", "surface", "coating")
    said = {name: None if row[name] in ("", None) else row[name] for name in names}
    return ZoneDraft(row["zone"], key=row["key"], **said)


def _shift(row: dict[str, Any], zone: ZoneInfo, before: ShiftDraft | None) -> ShiftDraft:
    """The shift of a row; times left as they were shown keep their exact instants."""
    starts = datetime.combine(row["day"], row["starts"], tzinfo=zone)
    ends = datetime.combine(row["day"], row["ends"], tzinfo=zone)
    if ends <= starts and row["day"] < date.max:
        ends = datetime.combine(row["day"] + timedelta(days=1), row["ends"], tzinfo=zone)
    if before is not None and (starts, ends) == (_minute(before.starts_at), _minute(before.ends_at)):
        starts, ends = before.starts_at, before.ends_at
    return ShiftDraft(starts, ends, row["lead"], tuple(row["machines"]), row["key"] or uuid4())


def _minute(at: datetime) -> datetime:
    return at.replace(second=0, microsecond=0)


def counts_read(data: QueryDict) -> bool:
    """Whether every table says how many rows it sent: without that, a plan sent back would lose its rows."""
    return all(_count(prefix, data) is not None for prefix in PREFIXES)


def whole_number(text: object) -> int:
    """The whole number of up to nine digits this text writes, else 0."""
    digits = str(text or "")
    return int(digits) if digits.isdecimal() and len(digits) <= 9 else 0


def _count(prefix: str, data: QueryDict) -> int | None:
    text = data.get(f"{prefix}-count", "")
    return whole_number(text) if text.isdecimal() else None


def _sent_rows(prefix: str, data: QueryDict) -> Rows:
    """The rows of one table as they were sent, as typed."""
    count = min(_count(prefix, data) or 0, _MOST_ROWS)
    names = list(PREFIXES[prefix].base_fields)
    return [
        {
            name: data.getlist(f"{prefix}-{number}-{name}")
            if name == "machines"
            else data.get(f"{prefix}-{number}-{name}", "")
            for name in names
        }
        for number in range(count)
    ]


def _shift_names(rows: Sequence[Mapping[str, Any]]) -> list[tuple[str, str]]:
    return [(str(row["key"]), _day_name(str(row.get("day") or ""))) for row in rows if row.get("key")]


def _day_name(text: str) -> str:
    """A day as people read it; "…" while none is typed."""
    try:
        day = parse_date(text)
    except ValueError:
        day = None
    return show_day(day) if day else "…"


def rows_of(draft: PlanDraft, zone: ZoneInfo) -> dict[str, Rows]:
    """The rows that show a draft."""
    zone_of_key = {row.filled().key: row.zone.pk for row in draft.zones}
    return {
        "zones": [
            {
                "key": row.key,
                "zone": row.zone.pk,
                "area_m2": row.area_m2,
                "edge_m": row.edge_m,
                "hardness": row.hardness or "",
                "surface": row.surface or "",
                "coating": row.coating or "",
            }
            for row in draft.zones
        ],
        "steps": [
            {
                "key": row.key,
                "zone": zone_of_key.get(row.zone_key),
                "tool_type": row.tool_type.pk,
                "passes": row.passes,
                "step_kind": row.step_kind,
                "wet_dry": row.wet_dry,
                "shift": str(row.shift_key or ""),
            }
            for row in draft.steps
        ],
        "shifts": [
            {
                "key": row.key,
                "day": f"{row.starts_at.astimezone(zone):%Y-%m-%d}",
                "starts": f"{row.starts_at.astimezone(zone):%H:%M}",
                "ends": f"{row.ends_at.astimezone(zone):%H:%M}",
                "lead": row.lead.pk if row.lead else None,
                "machines": [one.pk for one in row.machines],
            }
            for row in draft.shifts
        ],
    }


def add_row(rows: dict[str, Rows], prefix: str) -> dict[str, Rows]:
    """One more row; a shift follows the last one by a day, at its hours."""
    new: dict[str, Any] = {"key": uuid4() if prefix != "zones" else ""}
    last = rows[prefix][-1] if rows[prefix] else {}
    if prefix == "shifts" and last.get("day"):
        try:
            day = datetime.strptime(str(last["day"]), "%Y-%m-%d") + timedelta(days=1)  # noqa: DTZ007  # a day, no instant
            new |= {name: last.get(name) for name in ("starts", "ends", "lead", "machines")} | {
                "day": f"{day:%Y-%m-%d}"
            }
        except (ValueError, OverflowError):  # not a day, or no day follows it
            pass
    if prefix == "steps":
        new |= {"zone": last.get("zone"), "passes": LATER_PASSES, "step_kind": StepKind.LATER, "wet_dry": WetDry.WET}
    return {**rows, prefix: [*rows[prefix], new]}


def drop_row(rows: dict[str, Rows], prefix: str, number: int) -> dict[str, Rows]:
    """One row less; steps that named the shift go by turn again."""
    gone = rows[prefix][number : number + 1]
    kept = {**rows, prefix: [row for place, row in enumerate(rows[prefix]) if place != number]}
    if prefix == "shifts" and gone:
        key = str(gone[0].get("key"))
        kept["steps"] = [
            {**row, "shift": "" if str(row.get("shift")) == key else row.get("shift")} for row in rows["steps"]
        ]
    return kept


def propose_ladder(rows: dict[str, Rows], tool_types: Sequence[ToolType], first: str, last: str) -> dict[str, Rows]:
    """Rows for the shop's ladder on every floor without steps: from the first tool type to the last, coarse to fine.

    7 passes for the first step, 5 for later ones (common practice: 6 to 8, then about 5).
    """
    ids = [str(one.pk) for one in tool_types]
    begin = ids.index(first) if first in ids else 0
    end = ids.index(last) + 1 if last in ids else len(ids)
    with_steps = {str(row.get("zone")) for row in rows["steps"]}
    steps = [row for row in rows["steps"] if row.get("zone") and row.get("tool_type")]
    for floor in (row for row in rows["zones"] if row.get("zone") and str(row["zone"]) not in with_steps):
        for number, tool_type in enumerate(tool_types[begin:end]):
            wet_dry = WetDry.WET if tool_type.wet_dry == WetDry.EITHER else tool_type.wet_dry
            steps.append(
                {
                    "key": uuid4(),
                    "zone": floor["zone"],
                    "tool_type": tool_type.pk,
                    "passes": FIRST_PASSES if number == 0 else LATER_PASSES,
                    "step_kind": StepKind.FIRST_CUT if number == 0 else StepKind.LATER,
                    "wet_dry": wet_dry,
                    "shift": "",
                }
            )
    return {**rows, "steps": steps}
