"""Is this set conditioned? The soak it had, the name that confirmed it, and how long ago it was last wet.

Pure: facts in, an answer out; no queries, no clock. Rules: DESIGN 4 "Soak" and "Gate", LEDGER 18.

A set counts from the instant its recipe was met (`soak.ready_at`) for as long as it stays wet. It is wet in any water
(a tub, the bucket it travels in, "left in water"), and for the dry-out after it last left water or last worked wet.
Each time wet again within the dry-out goes on from there; once dried out, only a new soak helps. Wet work prolongs,
it never conditions. A confirmation by name counts from the ready instant until the set dries out; an earlier or later
one is told of and does not count.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

from inventory.ledger.soak import ReadyAnswer, Run, expected_ready_at, is_hot, run_ready, runs, tidy
from inventory.ledger.soak_facts import (
    Confirmation,
    MomentKind,
    Recipe,
    SoakFacts,
    SoakSettings,
    Spell,
    TubFacts,
    TubId,
    WetMoment,
    utc,
)

State = Literal["not needed", "unknown need", "conditioned", "soaked, not confirmed", "soaking", "dry"]
WhyKey = Literal[
    "not_needed",
    "unknown_need",
    "in_water",
    "out_of_water",
    "not_confirmed",
    "confirmed_too_early",
    "soaking_cold",
    "soaking_hot",
    "read_to_finish",
    "cooled",
    "never_soaked",
    "left_too_soon",
    "lifted_out",
    "dried_out",
]
Value = float | str | datetime | None

# The water a set is carried in when nobody named the bucket: no tub of the shop, so it has no readings.
CARRIED = "carried in water"


@dataclass(frozen=True)
class Why:
    """A sentence's key and the values that stand in it; the words belong to the templates.

    Times are UTC datetimes, hours are floats, temperatures are in degrees Celsius.
    """

    key: WhyKey
    values: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class IdleConfirmation:
    """A confirmation that does not condition, and why: before the set was ready, or after it had dried out."""

    confirmation: Confirmation
    reason: Literal["before ready", "after it had dried"]


@dataclass(frozen=True)
class Conditioning:
    """Whether a set is conditioned at an instant.

    until: the last instant it still counts, None while it lies in water (or does not count at all). ready_at: when
    the soak that counts met its recipe. expected_ready_at: only while soaking, when it will if it stays in.
    confirmed: the confirmation that counts. idle_confirmations: those that do not, to be flagged. soak: hours earned
    by the soak spoken of.
    """

    state: State
    why: Why
    until: datetime | None = None
    ready_at: datetime | None = None
    expected_ready_at: datetime | None = None
    confirmed: Confirmation | None = None
    idle_confirmations: tuple[IdleConfirmation, ...] = ()
    soak: ReadyAnswer = field(default_factory=ReadyAnswer)

    @property
    def passes(self) -> bool:
        """Return whether the gate lets it out without asking: conditioned, or no soak asked for."""
        return self.state in ("not needed", "unknown need", "conditioned")


@dataclass(frozen=True)
class _Wet:
    """A time of being wet; end None: until further notice."""

    start: datetime
    end: datetime | None


@dataclass(frozen=True)
class _Soaked:
    """A soak that met its recipe, and the instant the set dried out after it (None: in water)."""

    answer: ReadyAnswer
    ready: datetime
    dries_at: datetime | None

    def covers(self, at: datetime) -> bool:
        return self.ready <= at and (self.dries_at is None or at <= self.dries_at)


def moments_of(facts: SoakFacts, at: datetime) -> tuple[WetMoment, ...]:
    """Return every known moment up to `at` in order of time, the single last facts of LEDGER 18 among them."""
    known = set(facts.wet_moments)
    singles: tuple[tuple[datetime | None, MomentKind], ...] = (
        (facts.last_wet_work_at, "wet_work"),
        (facts.left_water_at, "left_water"),
    )
    known.update(WetMoment(instant, kind) for instant, kind in singles if instant is not None)
    if facts.left_how is not None:
        ends = [spell.ended_at for spell in facts.spells if spell.ended_at is not None]
        given_at = facts.left_how_at or max(
            (instant for instant in (facts.last_wet_work_at, facts.left_water_at, *ends) if instant is not None),
            default=None,
        )
        if given_at is not None:
            known.add(WetMoment(given_at, facts.left_how))
    return tuple(sorted((moment for moment in known if moment.at <= at), key=lambda moment: (moment.at, moment.kind)))


def _wet_times(spells: Iterable[Spell], moments: tuple[WetMoment, ...]) -> list[_Wet]:
    """Return the times in water and the wet moments, in order of their beginning."""
    spells = tuple(spells)
    wet = [_Wet(spell.begun_at, spell.ended_at) for spell in spells]
    known = [moment.at for moment in moments] + [spell.begun_at for spell in spells]
    known += [spell.ended_at for spell in spells if spell.ended_at is not None]
    for moment in moments:
        if moment.kind == "in_water":
            # Whatever is known next (work, another answer, a tub) found it out of that water.
            wet.append(_Wet(moment.at, min((instant for instant in known if instant > moment.at), default=None)))
        elif moment.kind in ("wet_work", "left_water", "wet"):
            wet.append(_Wet(moment.at, moment.at))
    return sorted(wet, key=lambda time: time.start)


def _dries_at(ready: datetime, wet: Iterable[_Wet], dry_out_hours: float) -> datetime | None:
    """Return when a set ready at `ready` dried or will dry out, None when it lies in water until further notice."""
    dry_out = timedelta(hours=dry_out_hours)
    dries_at = ready + dry_out
    for time in wet:
        if time.start > dries_at:
            break
        if time.end is None:
            return None
        dries_at = max(dries_at, time.end + dry_out)
    return dries_at


def conditioned(
    facts: SoakFacts, tubs: Mapping[TubId, TubFacts], recipe: Recipe, settings: SoakSettings, at: datetime
) -> Conditioning:
    """Return whether a set is conditioned at `at`.

    recipe: as it was when the soak began (a spell that carries its own goes by that). `at` may lie ahead: the set is
    then taken to stay where it is. Facts after `at` are not looked at. A late reading that moves the ready instant
    past a confirmation undoes that confirmation.

    Raises: ValueError when `at` has no time zone.
    """
    at = utc(at)
    if recipe.need == "none":
        return Conditioning("not needed", Why("not_needed"))
    if recipe.need == "unknown":
        return Conditioning("unknown need", Why("unknown_need"))
    spells = tidy(facts.spells, at)
    soaks = runs(spells, settings, at)
    answers = [run_ready(run, tubs, recipe, settings, at) for run in soaks]
    wet = _wet_times(spells, moments_of(facts, at))
    soaked = [
        _Soaked(answer, answer.ready_at, _dries_at(answer.ready_at, wet, (run[0].recipe or recipe).dry_out_hours))
        for run, answer in zip(soaks, answers, strict=True)
        if answer.ready_at
    ]
    confirmations = sorted((c for c in facts.confirmed_at if c.at <= at), key=lambda confirmation: confirmation.at)
    idle = _idle(confirmations, soaked)
    latest = answers[-1] if answers else ReadyAnswer()

    counting = [soak for soak in soaked if soak.covers(at)]
    for soak in reversed(counting):
        naming = [confirmation for confirmation in confirmations if soak.covers(confirmation.at)]
        if naming:
            confirmed = naming[-1]
            values: dict[str, Value] = {
                "ready_at": soak.ready,
                "confirmed_at": confirmed.at,
                "confirmed_by": confirmed.by,
            }
            why = (
                Why("in_water", values)
                if soak.dries_at is None
                else Why("out_of_water", {**values, "until": soak.dries_at})
            )
            return Conditioning("conditioned", why, soak.dries_at, soak.ready, None, confirmed, idle, soak.answer)
    if counting:
        soak = counting[-1]
        values = {"ready_at": soak.ready, "until": soak.dries_at}
        # Only a confirmation of this very soak is worth naming here: one from an earlier soak says nothing about it.
        early = [
            c for c in confirmations if soak.answer.begun_at is not None and soak.answer.begun_at <= c.at < soak.ready
        ]
        why = Why("not_confirmed", values)
        if early:
            named: dict[str, Value] = {"confirmed_at": early[-1].at, "confirmed_by": early[-1].by}
            why = Why("confirmed_too_early", {**values, **named})
        return Conditioning("soaked, not confirmed", why, soak.dries_at, soak.ready, None, None, idle, soak.answer)
    if soaks and soaks[-1][-1].ended_at is None:
        projection = expected_ready_at(spells, tubs, recipe, settings, at)
        expected = projection.ready_at if projection else None
        why = _why_soaking(soaks[-1], latest, tubs, recipe, settings, at)
        return Conditioning("soaking", why, None, None, expected, None, idle, latest)
    why = _why_dry(latest, soaked, recipe, settings, at)
    return Conditioning("dry", why, None, None, None, None, idle, latest)


def _idle(confirmations: Iterable[Confirmation], soaked: Iterable[_Soaked]) -> tuple[IdleConfirmation, ...]:
    """Return the confirmations that no soak bears out, with the reason."""
    soaked = tuple(soaked)
    idle: list[IdleConfirmation] = []
    for confirmation in confirmations:
        if any(soak.covers(confirmation.at) for soak in soaked):
            continue
        dried = [soak for soak in soaked if soak.dries_at is not None and soak.dries_at < confirmation.at]
        begun_since = [
            soak
            for soak in soaked
            if soak.answer.begun_at is not None and soak.answer.begun_at <= confirmation.at < soak.ready
        ]
        idle.append(
            IdleConfirmation(confirmation, "after it had dried" if dried and not begun_since else "before ready")
        )
    return tuple(idle)


def _why_soaking(
    run: Run, answer: ReadyAnswer, tubs: Mapping[TubId, TubFacts], recipe: Recipe, settings: SoakSettings, at: datetime
) -> Why:
    """Return what a soaking set waits for."""
    recipe = run[0].recipe or recipe
    projection = expected_ready_at(run, tubs, recipe, settings, at)
    values: dict[str, Value] = {
        "begun_at": answer.begun_at,
        "total_hours": answer.total_hours,
        "missing_hours_cold": answer.missing_hours_cold,
        "expected_at": projection.ready_at if projection else None,
    }
    tub = tubs.get(run[0].tub_id)
    last = tub.last_until(at) if tub else None
    if answer.hot_hours <= 0 and not (last and is_hot(last, recipe)):
        return Why("soaking_cold", values)
    values.update(
        hot_hours=answer.hot_hours,
        missing_hours_hot=answer.missing_hours_hot,
        read_at=projection.read_at if projection else None,
        vouched_until=projection.vouched_until if projection else None,
    )
    if last is not None and not is_hot(last, recipe):
        return Why("cooled", {**values, "temperature_c": last.temperature_c, "temperature_at": last.at})
    if answer.reading_due_since is not None:
        return Why("read_to_finish", {**values, "due_since": answer.reading_due_since})
    return Why("soaking_hot", values)


def _why_dry(latest: ReadyAnswer, soaked: list[_Soaked], recipe: Recipe, settings: SoakSettings, at: datetime) -> Why:
    """Return why a set out of water does not count."""
    if latest.begun_at is None or latest.ended_at is None:
        return Why("never_soaked", {"cold_hours": recipe.cold_hours})
    if latest.ready_at is not None and soaked:
        values: dict[str, Value] = {"ready_at": soaked[-1].ready, "dried_at": soaked[-1].dries_at}
        return Why("dried_out", {**values, "cold_hours": recipe.cold_hours})
    values = {
        "ended_at": latest.ended_at,
        "total_hours": latest.total_hours,
        "missing_hours_cold": latest.missing_hours_cold,
        "cold_hours": recipe.cold_hours,
    }
    if at - latest.ended_at < settings.interruption:
        return Why("lifted_out", {**values, "back_by": latest.ended_at + settings.interruption})
    return Why("left_too_soon", values)


def conditioned_for(
    facts: SoakFacts,
    tubs: Mapping[TubId, TubFacts],
    recipe: Recipe,
    settings: SoakSettings,
    *,
    leaves_at: datetime,
    starts_at: datetime,
    carried_in_water: bool,
) -> Conditioning:
    """Return whether a set that leaves at `leaves_at` will be conditioned when its step starts (the gate's question).

    Leaving ends the soak it lies in. Carried in water (a bucket is a tub place) it stays wet, otherwise its dry-out
    runs from then, or goes on running. When the start is past, the answer is for the leaving time.

    Raises: ValueError when a time has no time zone.
    """
    leaves_at, starts_at = utc(leaves_at), utc(starts_at)
    spells = tuple(
        replace(spell, ended_at=leaves_at) if spell.ended_at is None else spell
        for spell in tidy(facts.spells, leaves_at)
    )
    carried = (Spell(CARRIED, leaves_at, None),) if carried_in_water else ()
    moments = list(moments_of(facts, leaves_at))
    in_water_since = moments[-1].at if moments and moments[-1].kind == "in_water" else None
    in_tub_since = any(in_water_since and spell.ended_at and spell.ended_at > in_water_since for spell in spells)
    if in_water_since and not in_tub_since and not carried:
        moments.append(WetMoment(leaves_at, "left_water"))
    then = SoakFacts(
        spells=spells + carried,
        confirmed_at=tuple(confirmation for confirmation in facts.confirmed_at if confirmation.at <= leaves_at),
        wet_moments=tuple(moments),
    )
    at_start = conditioned(then, tubs, recipe, settings, max(leaves_at, starts_at))
    if at_start.state in ("soaking", "dry"):
        # A set that is not ready as it leaves is told of by the soak it leaves, not by the ride.
        leaving = conditioned(facts, tubs, recipe, settings, leaves_at)
        if leaving.state in ("soaking", "dry"):
            return leaving
    return at_start
