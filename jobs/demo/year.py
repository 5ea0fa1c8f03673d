"""A year of the demo shop, played through the actions: bids, soaks, nights, mornings, orders."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any
from uuid import UUID

from inventory.actions.corrections import settle_flag
from inventory.actions.custody import scan_in_many, scan_out_many
from inventory.actions.dressing import Dressing, dress
from inventory.actions.fitness import clear, report_trouble, retire, set_aside
from inventory.actions.measure import Heights, measure
from inventory.actions.outing import close_outing
from inventory.actions.pieces import Change, change_pieces
from inventory.actions.soak import TubFull, confirm, put_in, read_water
from inventory.ledger.facts import facts_from_json
from inventory.models import Outing, SetState, ToolSet, ToolType
from inventory.models.choices import SoakNeed
from inventory.queries.soak import conditioning_of
from inventory.shop_settings import floor_factor
from inventory.units import Amount
from jobs.actions.plan import make_job, mark, save_plan
from jobs.actions.reservation import reserve
from jobs.actions.shift import WorkPart, close_shift, leave_sets, log_work, outing_of_shift
from jobs.demo.clockwork import Clockwork
from jobs.demo.plans import DemoJob
from jobs.demo.shop import DemoShop
from jobs.demo.stock import Stock
from jobs.models import JobPlan, PlanShift, Standing
from jobs.queries.plan import plan_of


class Year(Stock):
    """Plays the demo shop's jobs through the actions, in order of time."""

    glazed_once = False

    def plan(self, job: DemoJob) -> None:
        """Put a job's life on the clock."""
        first = self.shop.local(job.starts_on, time(9, 10))
        bid = max(self.opened + timedelta(days=1), first - timedelta(days=self.shop.rng.randint(24, 45)))
        self.clock.at(min(bid, self.clock.until - timedelta(hours=6)), partial(self._bid, job))

    def _bid(self, job: DemoJob, now: datetime) -> None:
        draft = replace(
            job.draft, standing=Standing.BID, award_chance=job.award_chance if job.award_chance < 1 else 0.6
        )
        planned = make_job(
            self.shop.people["ines"],
            self.shop.branch,
            job.site,
            job.name,
            draft,
            now=now,
            job_id=self.shop.key("job", job.number),
            sure=True,
        )
        job.job = planned.plan.job
        decided = now + timedelta(days=self.shop.rng.randint(5, 12))
        if job.standing == Standing.LOST:
            self.clock.at(decided, lambda at: self._decide(job, Standing.LOST, at))
        elif job.standing != Standing.BID:
            water = self.shop.local(job.starts_on - timedelta(days=4), time(8, 0))
            self.clock.at(min(decided, water - timedelta(hours=1)), lambda at: self._decide(job, Standing.WON, at))

    def _decide(self, job: DemoJob, standing: str, now: datetime) -> None:
        assert job.job is not None
        if standing == Standing.LOST:
            mark(self.shop.people["ines"], job.job, Standing.LOST, now=now)
            return
        draft = replace(job.draft, standing=Standing.WON, award_chance=1.0)
        save_plan(self.shop.people["ines"], job.job, draft, now=now, sure=True)
        self.clock.at(self.shop.local(job.starts_on - timedelta(days=4), time(8, 0)), partial(self._soak, job))

    def _soak(self, job: DemoJob, now: datetime) -> None:
        """Four days before: choose the sets, and put those in water that need it."""
        wet = []
        needs = list(job.needs(self.settings).values())
        for number, (tool_type, area_m2) in enumerate(needs):
            short = job.trouble == "short" and number == 0
            tool_set = self._pick(tool_type, area_m2, now, shortest=short)
            job.sets[tool_type.pk] = tool_set
            forgotten = job.trouble == "dry" and number == len(needs) - 1
            if tool_type.soak_need == SoakNeed.REQUIRED and not forgotten:
                wet.append(tool_set)
        if job.starts_on >= self.clock.until.astimezone(self.shop.zone).date():
            self._reserve(job, now)
        self._into_water(job, wet, now)
        if job.trouble == "missing":
            lost = list(job.sets.values())[min(2, len(job.sets) - 1)]
            when = self.shop.local(job.starts_on - timedelta(days=1), time(16, 50))
            self.clock.at(when, lambda at: self._lose(lost, at))
        start = self.shop.local(job.starts_on, time(16, 30))
        self.clock.at(start, partial(self._confirm, job))
        self.clock.at(self.shop.local(job.starts_on, time(18, 20)), partial(self._leave, job))

    def _reserve(self, job: DemoJob, now: datetime) -> None:
        assert job.job is not None
        for step in job.draft.steps:
            reserve(self.shop.people["ines"], job.job, step.key, job.sets[step.tool_type.pk], now=now)

    def _into_water(self, job: DemoJob, sets: list[ToolSet], now: datetime) -> None:
        tubs = ["Tub 1", "Tub 2"] if job.number % 2 else ["Tub 2", "Tub 1"]
        if job.number % 6 == 5:
            self.clock.at(now + timedelta(days=2, hours=1), partial(self._hot_soak, sets))
            return
        for name in [*tubs, "Tub 3"]:
            try:
                if sets:
                    put_in(self.shop.who("teo", now), self.shop.branch, sets, self.shop.places[name], now=now)
                return
            except TubFull:
                continue

    def _hot_soak(self, sets: list[ToolSet], now: datetime) -> None:
        tub = self.shop.places["Tub 3"]
        try:
            put_in(self.shop.who("ines", now), self.shop.branch, sets, tub, now=now)
        except TubFull:
            return
        for hours in (0.0, 9.0, 22.5, 24.2, 26.0):
            self.clock.at(now + timedelta(hours=hours), self._read_hot)

    def _read_hot(self, now: datetime) -> None:
        fahrenheit = self.shop.rng.choice([124, 125, 126, 127, 128])
        water = Amount((fahrenheit - 32) / 1.8, Decimal(fahrenheit), "F")
        read_water(self.shop.who("ines", now), self.shop.branch, self.shop.places["Tub 3"], water, now=now)

    def _lose(self, tool_set: ToolSet, now: datetime) -> None:
        report_trouble(self.shop.who("ines", now), self.shop.branch, tool_set, "lost", now=now, note="not on its peg")

    def _confirm(self, job: DemoJob, now: datetime) -> None:
        ready = [
            state.tool_set
            for state in SetState.objects.filter(pk__in=[one.pk for one in job.sets.values()], soaking=True)
            .select_related("tool_set__tool_type")
            .order_by("pk")
        ]
        done = [one for one in ready if self._may_confirm(one, now)]
        if done:
            confirm(self.shop.who(job.lead, now), self.shop.branch, done, now=now)

    def _may_confirm(self, tool_set: ToolSet, now: datetime) -> bool:
        return conditioning_of([tool_set.pk], self.shop.branch, at=now)[tool_set.pk].state == "soaked, not confirmed"

    def _plan(self, job: DemoJob) -> JobPlan:
        """The version the job was won with, read once."""
        assert job.job is not None
        if job.plan is None:
            job.plan = plan_of(job.job)
        assert job.plan is not None
        return job.plan

    def _leave(self, job: DemoJob, now: datetime) -> None:
        """The evening: sets go out on the van; what the gate holds back goes along against it, with a reason."""
        assert job.job is not None
        shifts = list(self._plan(job).shifts.all())
        van = self.shop.places[f"Van {job.number % 3 + 1}"]
        outing = outing_of_shift(job.job, shifts[0], now=now, van=van)
        for shift in shifts[1:]:
            outing_of_shift(job.job, shift, now=now, van=van)
        sets = list(job.sets.values())
        starts = {one.pk: shifts[0].starts_at for one in sets}
        common: dict[str, Any] = {"now": now, "starts": starts, "to_place": van}
        many = scan_out_many(self.shop.who("ines", now), self.shop.branch, sets, outing, confirm=True, **common)
        held = [tool_set for tool_set, _why in many.refused]
        if held:
            why = self.shop.rng.choice(["spare is in another van", "customer cannot move the night", "tub was full"])
            scan_out_many(
                self.shop.who("ines", now), self.shop.branch, held, outing, confirm=True, override_why=why, **common
            )
        for number, shift in enumerate(shifts):
            self.clock.at(shift.starts_at, partial(self._work, job, shift, number == len(shifts) - 1))

    def _work(self, job: DemoJob, shift: PlanShift, last: bool, now: datetime) -> None:
        """A night: each step of the shift logged as it is done."""
        steps = [step for step in job.draft.steps if step.shift_key == shift.key]
        areas = {zone.pk: zone for zone in job.zones}
        begins = now + timedelta(minutes=20)
        span = shift.ends_at - timedelta(minutes=30) - begins
        weights = [areas[step.zone_key].area_m2 * step.passes for step in steps]
        for number, step in enumerate(steps):
            if job.forgotten and number >= 2:
                break
            at = begins + span * (sum(weights[: number + 1]) / sum(weights))
            zone = areas[step.zone_key]
            self.clock.at(at, partial(self._step, job, shift, step.key, step.tool_type, zone.area_m2, step.passes))
        if not job.forgotten:
            self.clock.at(shift.ends_at - timedelta(minutes=10), partial(self._end, job, shift, last))

    def _step(
        self,
        job: DemoJob,
        shift: PlanShift,
        key: object,
        tool_type: ToolType,
        area_m2: float,
        passes: int,
        now: datetime,
    ) -> None:
        assert job.job is not None
        step = next(one for one in job.draft.steps if one.key == key)
        zone = next(one for one in job.zones if one.pk == step.zone_key)
        factor = self.world.factor(zone.hardness, zone.surface, "wet", step.step_kind)
        reference = floor_factor(self.settings, zone.hardness, zone.surface, "wet", step.step_kind)
        parts: list[WorkPart] = []
        todo, tool_set = area_m2 * passes, job.sets[tool_type.pk]
        while todo > 0.5:
            left = self.world.left_m2(tool_set, factor)
            done = todo if left >= todo or len(parts) > 6 else max(1.0, round(left, 1))
            parts += self._parts(tool_set, area_m2, area_m2 * passes - todo, done)
            self.world.wear(tool_set, done, factor)
            self.used_m2[tool_set.pk] += done * reference
            todo -= done
            if todo > 0.5:
                tool_set = self._spare(job, shift, tool_type, now)
        basis = "planned" if self.shop.rng.random() < 0.08 else "measured"
        log_work(
            self.shop.who(job.lead, now, phone=True),
            job.job,
            shift.key,
            step.key,
            parts,
            now=now,
            basis=basis,
            sure=True,
            plan=self._plan(job),
        )

    def _parts(self, tool_set: ToolSet, area_m2: float, before_m2: float, done_m2: float) -> list[WorkPart]:
        """A stretch of worked area as whole passes and the parts of passes at its ends."""
        parts: list[WorkPart] = []
        room = area_m2 - before_m2 % area_m2 if before_m2 % area_m2 > 0.5 else 0.0
        if room and done_m2 > 0.5:
            first = min(room, done_m2)
            parts.append(self._part(tool_set, first, 1))
            done_m2 -= first
        whole = int((done_m2 + 0.5) // area_m2)
        if whole:
            parts.append(self._part(tool_set, area_m2, whole))
            done_m2 -= whole * area_m2
        if done_m2 > 0.5:
            parts.append(self._part(tool_set, done_m2, 1))
        return parts

    def _part(self, tool_set: ToolSet, area_m2: float, passes: int) -> WorkPart:
        feet = round(area_m2 * 10.763910416709722)
        return WorkPart(tool_set, round(area_m2, 2), passes, value=str(feet), unit="ft2")

    def _spare(self, job: DemoJob, shift: PlanShift, tool_type: ToolType, now: datetime) -> ToolSet:
        """The set died on the floor: the shop manager drives out with another, against the gate if it must be."""
        assert job.job is not None
        spare = self._pick(tool_type, 500, now)
        job.sets[tool_type.pk] = spare
        job.sets[-len(job.sets)] = spare
        outing = outing_of_shift(job.job, shift, now=now)
        many = scan_out_many(
            self.shop.who("ines", now), self.shop.branch, [spare], outing, now=now, starts={spare.pk: now}, confirm=True
        )
        if many.refused:
            scan_out_many(
                self.shop.who("ines", now),
                self.shop.branch,
                [spare],
                outing,
                now=now,
                starts={spare.pk: now},
                override_why="the first set wore out on the floor",
            )
        return spare

    def _end(self, job: DemoJob, shift: PlanShift, last: bool, now: datetime) -> None:
        assert job.job is not None
        how = "in_van" if last else "in_water"
        leave_sets(self.shop.who(job.lead, now, phone=True), job.job, shift.key, how, now=now)
        close_shift(self.shop.who(job.lead, now, phone=True), job.job, shift.key, now=now)
        if last:
            morning = shift.ends_at.astimezone(self.shop.zone).date()
            self.clock.at(self.shop.local(morning, time(7, 20)), partial(self._back, job))

    def _back(self, job: DemoJob, now: datetime) -> None:
        """The morning: everything out with the job comes in; some heights are read; worn sets are retired."""
        assert job.job is not None
        out = SetState.objects.filter(outing__shift_rows__job=job.job).select_related("tool_set__tool_type").distinct()
        sets = [state.tool_set for state in out.order_by("pk")]
        pegs = {one.pk: self.pegs[one.pk][1] for one in sets}
        by_rack: dict[str, list[ToolSet]] = {}
        for one in sets:
            by_rack.setdefault(self.pegs[one.pk][0], []).append(one)
        for rack, group in sorted(by_rack.items()):
            scan_in_many(self.shop.who("teo", now), self.shop.branch, group, self.shop.places[rack], now=now, pegs=pegs)
        for outing in Outing.objects.filter(shift_rows__job=job.job, closed_at__isnull=True).distinct():
            close_outing(outing, now=now)
        self._settle(sets, now)
        for one in sets:
            self.busy.discard(one.pk)
            self._look_at(one, now + timedelta(minutes=10))
        mark(self.shop.people["ines"], job.job, Standing.DONE, now=now)

    def _settle(self, sets: list[ToolSet], now: datetime) -> None:
        """The morning's flags, such as a set that left against the gate: seen, and said so."""
        for state in SetState.objects.filter(pk__in=[one.pk for one in sets], open_flags__gt=0).order_by("pk"):
            for entry, flag in facts_from_json(state.facts).open_flags:
                who = self.shop.who("ines", now)
                settle_flag(who, self.shop.branch, state.tool_set, UUID(entry), flag, "seen", "looked at it", now=now)

    def _look_at(self, tool_set: ToolSet, now: datetime) -> None:
        shop, dice = self.shop, self.shop.rng.random()
        if now > self.clock.until:
            return
        if self.world.worn(tool_set):
            read = self.world.read_mm(tool_set)
            heights = Heights((Amount(read, Decimal(str(read)), "mm"),), sure=True)
            retire(shop.who("ines", now), shop.branch, tool_set, "worn", now=now, heights=heights)
            self.used_m2[tool_set.pk] = -1.0
        elif dice < 0.45:
            read = self.world.read_mm(tool_set)
            heights = Heights((Amount(read, Decimal(str(read)), "mm"),), sure=True)
            measure(shop.who("ines", now), shop.branch, tool_set, heights, now=now)
        elif (dice < 0.462 and tool_set.tool_type.bond == "metal") or self._first_glazed(tool_set, now):
            report_trouble(shop.who("ines", now), shop.branch, tool_set, "glazed", now=now)
            self.clock.at(now + timedelta(hours=3), partial(self._dress, tool_set))
        elif dice < 0.468:
            set_aside(shop.who("ines", now), shop.branch, tool_set, "chipped piece", now=now)
            if self.clock.until - now > timedelta(days=20):
                self.busy.add(tool_set.pk)
                self.clock.at(now + timedelta(days=5), partial(self._clear, tool_set))

    def _first_glazed(self, tool_set: ToolSet, now: datetime) -> bool:
        """Every year has one: the first metal set that comes back unread in the last quarter."""
        late = self.clock.until - timedelta(days=90) < now < self.clock.until - timedelta(days=1)
        if self.glazed_once or not late or tool_set.tool_type.bond != "metal":
            return False
        self.glazed_once = True
        return True

    def _dress(self, tool_set: ToolSet, now: datetime) -> None:
        """Opened again on a block, which costs what it costs a metal set of ours, a fifth of a millimetre."""
        before = round(self.world.height_mm[tool_set.pk], 1)
        self.world.height_mm[tool_set.pk] -= 0.2
        after = round(before - 0.2, 1)
        dressing = Dressing("block", 15, _mm(before), _mm(after), sure=True)
        dress(self.shop.who("teo", now), self.shop.branch, tool_set, dressing, now=now)

    def _clear(self, tool_set: ToolSet, now: datetime) -> None:
        """The chipped piece is replaced by a used one of the same height, then somebody looks at it."""
        read = round(self.world.height_mm[tool_set.pk], 1)
        heights = Heights((_mm(read),), sure=True)
        change = Change(1, 1, _mm(read), heights, sure=True, why="chipped piece")
        change_pieces(self.shop.who("dag", now), self.shop.branch, tool_set, change, now=now)
        clear(self.shop.who("ines", now), self.shop.branch, tool_set, now=now)
        self.busy.discard(tool_set.pk)


def _mm(read: float) -> Amount:
    return Amount(read, Decimal(str(read)), "mm")


def play(
    shop: DemoShop, jobs: list[DemoJob], opened: datetime, now: datetime, progress: Callable[[datetime], None]
) -> int:
    """Play the whole history up to now; returns how many events were done."""
    clock = Clockwork(now)
    year = Year(shop, clock, opened)
    year.fill_racks(opened + timedelta(hours=2))
    monday = opened + timedelta(days=(7 - opened.weekday()) % 7, hours=1)
    clock.at(monday, year.review_stock)
    for job in jobs:
        year.plan(job)
    return clock.run(progress)
