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
from inventory.models.choices import Coating, Condition, Hardness, StepKind, Surface, WetDry
from inventory.rights import Right
from inventory.times import show_day
from inventory.units import Units
from jobs.models import JobKind, Site, Standing, Zone
from jobs.plan_draft import FINISHES, PlanDraft, ShiftDraft, StepDraft, ZoneDraft

# More rows of a table than any plan has (our assumption).
_MOST_ROWS = 200
AS_FLOOR = ("", _("as the floor"))
Rows = list[dict[str, Any]]


class QuietUUID(forms.UUIDField):
    """A key the page made."""

    widget = forms.HiddenInput


class SeveralRows(forms.ModelMultipleChoiceField):
    """Several rows by their numbers; a number that no database holds is none of the list."""

    def clean(self, value: Any) -> Any:
        for key in value or []:
            if not whole_number(key):
                raise forms.ValidationError(self.error_messages["invalid_pk_value"], params={"pk": key})
        return super().clean(value)


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
    standing = forms.ChoiceField(label=_("Where it stands"), choices=Standing.choices)
    award_percent = forms.IntegerField(
        label=_("Award chance"),
        min_value=0,
        max_value=100,
        help_text=_("Of a bid. A job that is won counts as 100 %, one lost or cancelled as 0 %."),
    )
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
    condition = forms.ChoiceField(label=_("Condition"), choices=[AS_FLOOR, *Condition.choices], required=False)

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
    machines = SeveralRows(label=_("Machines"), queryset=Machine.objects.none(), required=False)

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
        choices.shifts = shift_names(sent["shifts"])
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
    names = ("area_m2", "edge_m", "hardness", "surface", "coating", "condition")
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


def shift_names(rows: Sequence[Mapping[str, Any]]) -> list[tuple[str, str]]:
    """The choices of a step's shift from the rows of shifts: key and words."""
    days = [str(row.get("day") or "") for row in rows]
    hours = [str(row.get("starts") or "") if days.count(day) > 1 else "" for row, day in zip(rows, days, strict=True)]
    return [
        (str(row["key"]), _shift_name(number, days[number - 1], hours[number - 1]))
        for number, row in enumerate(rows, start=1)
        if row.get("key")
    ]


def _shift_name(number: int, day_text: str, starts: str) -> str:
    """A shift as the steps name it: "Wed 14 May" (its hour too where two share the day), or its row without a day."""
    try:
        day = parse_date(day_text)
    except ValueError:
        day = None
    return f"{show_day(day)} {starts}".strip() if day else _("shift %(n)s, no day yet") % {"n": number}
