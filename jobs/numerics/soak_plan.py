"""The soak plan: for every dry set a step needs, into which water by when, and what can be done where it is late.

METHODS 4: backward from each start within staffed hours, then tubs in order of put-in. Where there is no room or no
time, in order: hot recipe, a wet set that fits, taking out a set whose dry-out still reaches its start, soaking earlier
and coming out earlier; else late, with the hours that are missing. Pure: calendar and `now` come in, nothing is read.

A set is ready before it leaves, carried in water or not: the bucket it travels in is another water, and moving ends a
soak (DESIGN 4). So the water on the way keeps a set wet; it earns no hours towards its recipe.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from inventory.calendar import ShopCalendar, last_staffed
from inventory.ledger.soak_facts import Recipe, SoakSettings
from jobs.numerics.soak_plan_facts import (
    LOADING_HOURS,
    DrySet,
    EarlyOut,
    LateSoak,
    LateWhy,
    Lying,
    Mend,
    SoakLine,
    SoakPlan,
    SoakRule,
    Tub,
    WetInstead,
    WetSet,
    scald_seconds,
)
from jobs.numerics.soak_put_in import (
    PutIn,
    SoakRefused,
    cold_only,
    first_put_in,
    latest_cold,
    latest_hot,
    planned_readings,
    ready_if_put_in,
)
from jobs.numerics.soak_tubs import FOREVER, Key, Stay, busiest, fullest_with_room


@dataclass(frozen=True)
class _Shop:
    """What holds for every set of one plan."""

    calendar: ShopCalendar
    settings: SoakSettings
    loading_hours: float
    wet_sets: tuple[WetSet, ...]


@dataclass
class _Making:
    """The plan while it is made: who lies in which tub when, and what was answered so far."""

    tubs: tuple[Tub, ...]
    stays: dict[Key, list[Stay]]
    lying: dict[Key, Lying]
    wants: dict[Key, DrySet] = field(default_factory=dict)
    lines: dict[Key, SoakLine] = field(default_factory=dict)
    early: dict[Key, EarlyOut] = field(default_factory=dict)
    instead: list[WetInstead] = field(default_factory=list)
    late: list[LateSoak] = field(default_factory=list)
    hot: dict[tuple[Recipe, datetime, datetime, bool], PutIn | None] = field(default_factory=dict)

    def hot_put_in(
        self, recipe: Recipe, leaves: datetime, not_before: datetime, shop: _Shop, *, thermostat: bool
    ) -> PutIn | None:
        """`latest_hot`, asked once for all sets of one recipe that leave together."""
        key = (recipe, leaves, not_before, thermostat)
        if key not in self.hot:
            self.hot[key] = latest_hot(recipe, shop.settings, shop.calendar, leaves, not_before, thermostat=thermostat)
        return self.hot[key]

    def free(self, start: datetime, end: datetime, slots: int, tubs: Iterable[Tub]) -> Key | None:
        """The fullest of these tubs that has room throughout."""
        return fullest_with_room({tub.key: tub.slots for tub in tubs}, self.stays, start, end, slots)

    def put(self, want: DrySet, line: SoakLine) -> None:
        self.wants[want.key] = want
        self.lines[want.key] = line
        self.stays[line.tub].append(Stay(want.key, line.put_in_at, line.take_out_at, want.slots))

    def take_out(self, tub: Key, stay: Stay, at: datetime) -> None:
        """End a stay earlier than planned."""
        self.stays[tub] = [replace(one, ended_at=at) if one is stay else one for one in self.stays[tub]]
        if stay.key in self.lines:
            line, want = self.lines[stay.key], self.wants[stay.key]
            must_carry = line.starts_at - at > want.dry_out
            self.lines[stay.key] = replace(line, take_out_at=at, must_carry_in_water=must_carry)
        self.early[stay.key] = EarlyOut(stay.key, tub, at, stay.ended_at)


def plan_soaks(
    dry_sets: Sequence[DrySet],
    tubs: Sequence[Tub],
    calendar: ShopCalendar,
    settings: SoakSettings,
    now: datetime,
    *,
    lying: Sequence[Lying] = (),
    wet_sets: Sequence[WetSet] = (),
    loading_hours: float = LOADING_HOURS,
) -> SoakPlan:
    """Into which tub each dry set goes by when, within staffed hours and tub room.

    dry_sets: one for each set that will be dry; lying: what is in the tubs now; wet_sets: conditioned ones that could
    stand in. loading_hours: before the start (2 h, our assumption).
    Every dry set is answered once: a line, a wet set instead, or late with why and what can still be done.
    Raises: ValueError for a start that is past, a set or a tub named twice, a set lying in a tub that is not there,
    an instant without a zone.
    Limits: optimal for sets of one slot when every one can be put in cold (see `assign_tubs`); what comes after, room
    made and recipes changed, is done one set at a time and never undone. A line's hours hold if it is put in by then
    and a hot tub is read as planned.
    """
    _check(dry_sets, tubs, lying, now, loading_hours)
    shop = _Shop(calendar, settings, loading_hours, tuple(wet_sets))
    making = _Making(tuple(tubs), {tub.key: [] for tub in tubs}, {there.key: there for there in lying})
    for there in lying:
        ended = FOREVER if there.leaves_at is None else max(there.leaves_at, now + timedelta(microseconds=1))
        making.stays[there.tub].append(Stay(there.key, now, ended, there.slots))
    waiting: list[tuple[datetime, int, DrySet, datetime, PutIn | None]] = []
    for place, want in enumerate(dry_sets):
        leaves = want.leaves_at(loading_hours)
        try:
            not_before = first_put_in(calendar, leaves, now)
        except SoakRefused as refused:
            why: LateWhy = "no_staffed_hour" if refused.code == "no_staffed_hour" else "leaves_already"
            if not _stands_in(want, making, shop):
                hours = (want.recipe.cold_hours, want.recipe.hot_hours)
                making.late.append(LateSoak(want.key, why, *hours, None, None, tuple(_hand_overs(want, shop))))
            continue
        cold = latest_cold(cold_only(want.recipe), settings, calendar, leaves, not_before)
        waiting.append((cold.put_in_at if cold else not_before, place, want, not_before, cold))
    for _at, _place, want, not_before, cold in sorted(waiting, key=lambda one: one[:2]):
        _answer(want, not_before, cold, making, shop)
    return SoakPlan(
        lines=tuple(sorted(making.lines.values(), key=lambda line: line.put_in_at)),
        instead=tuple(making.instead),
        late=tuple(making.late),
        early_outs=tuple(making.early.values()),
    )


def _check(
    dry_sets: Sequence[DrySet], tubs: Sequence[Tub], lying: Sequence[Lying], now: datetime, loading_hours: float
) -> None:
    if now.tzinfo is None:
        raise ValueError(f"`now` must carry a time zone; got {now.isoformat()}.")
    if not 0 <= loading_hours < 1000:
        raise ValueError(f"`loading_hours` must be 0 or more; got {loading_hours}.")
    named: tuple[tuple[str, Iterable[Key]], ...] = (
        ("dry_sets", [want.key for want in dry_sets] + [there.key for there in lying]),
        ("tubs", [tub.key for tub in tubs]),
    )
    for name, keys in named:
        seen: set[Key] = set()
        for key in keys:
            if key in seen:
                raise ValueError(f"`{name}` must name each once; got {key!r} twice.")
            seen.add(key)
    for want in dry_sets:
        if want.starts_at <= now:
            raise ValueError(
                f"`starts_at` of {want.key!r} must lie after {now:%Y-%m-%d %H:%M}; got {want.starts_at:%Y-%m-%d %H:%M}."
            )
    for there in lying:
        if there.tub not in {tub.key for tub in tubs}:
            raise ValueError(f"`tub` of {there.key!r} must be one of `tubs`; got {there.tub!r}.")


def _answer(want: DrySet, not_before: datetime, cold: PutIn | None, making: _Making, shop: _Shop) -> None:
    """Find one set its water, its stand-in, or the reason why not, in the order METHODS 4 gives."""
    leaves = want.leaves_at(shop.loading_hours)
    fitting = [tub for tub in making.tubs if tub.slots >= want.slots]
    if cold:
        # A tub that is not heated first: the others may be wanted for a hot soak.
        for tubs in ([tub for tub in fitting if not tub.hot], fitting):
            tub = making.free(cold.put_in_at, leaves, want.slots, tubs)
            if tub is not None:
                making.put(want, _line(want, tub, cold, leaves, leaves, "cold"))
                return
    could_be_hot = False
    for thermostat in (False, True):
        tubs = [tub for tub in fitting if tub.hot and tub.thermostat == thermostat]
        if not tubs:
            continue
        hot = making.hot_put_in(want.recipe, leaves, not_before, shop, thermostat=thermostat)
        if hot is None:
            continue
        could_be_hot = True
        tub = making.free(hot.put_in_at, leaves, want.slots, tubs)
        if tub is not None:
            making.put(want, _line(want, tub, hot, leaves, leaves, "hot_no_room" if cold else "hot_in_time"))
            return
    if _stands_in(want, making, shop):
        return
    if cold and fitting and (_after_early_outs(want, cold, making, shop) or _earlier(want, not_before, making, shop)):
        return
    why: LateWhy = "no_time"
    if not making.tubs:
        why = "no_tub"
    elif not fitting:
        why = "tub_too_small"
    elif cold or could_be_hot:
        why = "no_room"
    making.late.append(_late(want, why, not_before, cold, making, shop))


def _line(want: DrySet, tub: Key, found: PutIn, take_out: datetime, leaves: datetime, rule: SoakRule) -> SoakLine:
    hot = bool(found.read_at)
    return SoakLine(
        key=want.key,
        tub=tub,
        put_in_at=found.put_in_at,
        ready_at=found.ready_at,
        take_out_at=take_out,
        leaves_at=leaves,
        starts_at=want.starts_at,
        kind=found.kind,
        rule=rule,
        read_at=found.read_at,
        must_carry_in_water=want.starts_at - take_out > want.dry_out,
        scald_s=scald_seconds(want.recipe.hot_limit_c) if hot and want.recipe.hot_limit_c is not None else None,
    )


def _still_wet(want: DrySet | Lying, take_out: datetime, leaves: datetime, starts: datetime) -> bool:
    """Whether a set out of its tub from `take_out` on is still wet when it starts, or when it goes back in water."""
    return take_out + want.dry_out >= (leaves if want.carried_in_water else starts)


def _after_early_outs(want: DrySet, cold: PutIn, making: _Making, shop: _Shop) -> bool:
    """Make room at put-in by taking out what is ready there and stays wet until its own start."""
    at, leaves = cold.put_in_at, want.leaves_at(shop.loading_hours)
    for tub in making.tubs:
        there = [stay for stay in making.stays[tub.key] if stay.begun_at < at < stay.ended_at]
        able = [stay for stay in there if _may_leave(making, stay, at)]
        # Those that would lie longest give most room.
        able.sort(key=lambda stay: stay.ended_at, reverse=True)
        for count in range(1, len(able) + 1):
            out = able[:count]
            rest = [stay for stay in making.stays[tub.key] if stay not in out]
            if busiest(rest, at, leaves) + want.slots <= tub.slots:
                for stay in out:
                    making.take_out(tub.key, stay, at)
                making.put(want, _line(want, tub.key, cold, leaves, leaves, "another_out_earlier"))
                return True
    return False


def _may_leave(making: _Making, stay: Stay, at: datetime) -> bool:
    """Whether a stay's set is ready at an instant and, out from then on, is still wet for its start."""
    line = making.lines.get(stay.key)
    if line is not None:
        # A hot soak counts only once it was read at its end.
        ready = max((line.ready_at, *line.read_at))
        return ready <= at and _still_wet(making.wants[stay.key], at, line.leaves_at, line.starts_at)
    there = making.lying[stay.key]
    if there.ready_at is None or there.leaves_at is None or there.starts_at is None:
        return False  # nobody knows when it is ready or wanted: it stays
    return there.ready_at <= at and _still_wet(there, at, there.leaves_at, there.starts_at)


def _earlier(want: DrySet, not_before: datetime, making: _Making, shop: _Shop) -> bool:
    """Soak earlier and come out earlier, before the tub fills, if it is still wet for its start."""
    leaves = want.leaves_at(shop.loading_hours)
    for tub in sorted(making.tubs, key=lambda tub: tub.hot):
        begins = {stay.begun_at for stay in making.stays[tub.key] if not_before < stay.begun_at < leaves}
        for begin in sorted(begins, reverse=True):
            out = last_staffed(shop.calendar, begin)
            if not _still_wet(want, out, leaves, want.starts_at):
                break
            found = latest_cold(cold_only(want.recipe), shop.settings, shop.calendar, out, not_before)
            if found and busiest(making.stays[tub.key], found.put_in_at, out) + want.slots <= tub.slots:
                making.put(want, _line(want, tub.key, found, out, leaves, "soaked_earlier"))
                return True
    return False


def _stands_in(want: DrySet, making: _Making, shop: _Shop) -> bool:
    """Give it a wet set nobody else was given, still wet at the start; those of cancelled jobs first."""
    taken = {one.wet_set for one in making.instead}
    able = [wet for wet in shop.wet_sets if wet.key not in taken and not wet.reserved and _serves(wet, want)]
    wet = min(able, key=lambda wet: not wet.cancelled, default=None)
    if wet is None:
        return False
    making.instead.append(WetInstead(want.key, wet.key, wet.cancelled))
    return True


def _serves(wet: WetSet, want: DrySet) -> bool:
    return want.key in wet.fits and (wet.wet_until is None or wet.wet_until >= want.starts_at)


def _hand_overs(want: DrySet, shop: _Shop) -> list[Mend]:
    """Wet sets of other jobs that would do: for a person to decide."""
    return [Mend("hand_over", None, wet.key) for wet in shop.wet_sets if wet.reserved and _serves(wet, want)]


def _late(
    want: DrySet, why: LateWhy, not_before: datetime, cold: PutIn | None, making: _Making, shop: _Shop
) -> LateSoak:
    """What is missing if it goes in at the next staffed instant, and what can still be done."""
    recipe, leaves = want.recipe, want.leaves_at(shop.loading_hours)
    readings = planned_readings(shop.calendar, recipe, not_before, leaves)
    by_time = ready_if_put_in(cold_only(recipe), shop.settings, not_before, leaves)
    hot = ready_if_put_in(recipe, shop.settings, not_before, leaves, readings=readings)
    mends: list[Mend] = []
    if recipe.hot_hours is not None and hot.ready_at is not None and not any(tub.hot for tub in making.tubs):
        mends.append(Mend("heat_a_tub", not_before, None))
    if cold:
        mends.append(Mend("find_room", cold.put_in_at, None))
    mends += _hand_overs(want, shop)
    ready = None if recipe.cold_hours is None else not_before + timedelta(hours=recipe.cold_hours)
    if why == "no_time" and ready is not None:
        mends.append(Mend("leave_later", ready, None))
    return LateSoak(
        key=want.key,
        why=why,
        missing_hours_cold=by_time.missing_hours_cold,
        missing_hours_hot=hot.missing_hours_hot,
        next_put_in_at=not_before,
        ready_at=ready,
        mends=tuple(mends),
    )
