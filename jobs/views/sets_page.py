"""Sets for jobs in words and drawings: what goes with which load, why, how sure, what changes against what is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.gate import name_of, where_of
from inventory.models import Person, SetState
from inventory.queries.soak import states_with_types
from inventory.templatetags.gritledger import sure_words
from inventory.times import when_for
from inventory.units import show_about
from jobs.actions.keep_sets import ByHand
from jobs.context import units_of
from jobs.models import Standing
from jobs.numerics.enough import enough
from jobs.numerics.reserve import Change, Choice, Effect, Reason, SetStanding, ToBuy, Trouble, WhyNone, standing
from jobs.queries.plan import zone_of_step
from jobs.queries.reserving import LoadAhead
from jobs.reserving import Proposal
from jobs.reserving_told import is_tonight
from jobs.views.faces import Ladder, places_of, set_face

_SHOWN = 40  # sets to choose from, the best first


@dataclass
class Page:
    """What every line of the page is drawn with."""

    proposal: Proposal
    person: Person
    places: Ladder
    states: dict[UUID, SetState]

    @classmethod
    def of(cls, proposal: Proposal, person: Person, places: Ladder) -> Page:
        """With the states of sets that are meant for something but cannot work, to name them: one query more."""
        states = dict(proposal.states)
        meant = {row.tool_set_id for load in proposal.loads.values() for row in load.rows}
        return cls(
            proposal,
            person,
            places,
            states | {state.pk: state for state in states_with_types(sorted(meant - set(states), key=str))},
        )

    @property
    def now(self) -> datetime:
        """When it was asked."""
        return self.proposal.now

    def name(self, seat: object) -> str:
        """A set's code, or "one to buy"."""
        state = self.states.get(seat) if isinstance(seat, UUID) else None
        return name_of(state) if state is not None else _("a new one")

    def names(self, seats: Sequence[object]) -> str:
        """The names of what a load runs on: "GL-1, then GL-2"."""
        return (
            _("%(first)s, then %(second)s")
            % {
                "first": self.name(seats[0]),
                "second": self.name(seats[1]),
            }
            if len(seats) > 1
            else self.name(seats[0])
        )

    def load_words(self, key: object) -> str:
        """ "Fennick store, Sat 28 Nov"."""
        load = self.proposal.loads.get(key) if isinstance(key, UUID) else None
        if load is None:
            return ""
        return f"{load.job.name}, {when_for(self.person, load.nights[0].shift.starts_at, self.now)}"


def page_context(page: Page) -> dict[str, Any]:
    """Shifts in time order with their lines; what keeping it would change; what stands in the way."""
    proposal = page.proposal
    lines = {key: load_line(page, key) for key in proposal.loads}
    shifts: dict[UUID, dict[str, Any]] = {}
    for key, load in proposal.loads.items():
        night = load.nights[0]
        shift = shifts.setdefault(
            night.shift.key,
            {
                "at": night.shift.starts_at,
                "when": when_for(page.person, night.shift.starts_at, page.now),
                "job": load.job,
                "bid": load.plan.standing == Standing.BID,
                "chance": round(100 * load.weight),
                "lead": night.shift.lead.name if night.shift.lead else "",
                "tonight": is_tonight(load, proposal.branch, page.now),
                "lines": [],
            },
        )
        shift["lines"].append(lines[key])
    for shift in shifts.values():
        shift["lines"].sort(key=lambda line: (line["type"].ladder_place, line["type"].name))
    counted = {word: sum(line["change"] == word for line in lines.values()) for word in ("new", "moved", "gone")}
    none = sum(line["none"] for line in lines.values())
    buy = sum(proposal.plan.to_buy.values())
    return {
        "shifts": sorted(shifts.values(), key=lambda one: (one["at"], one["job"].name)),
        "headline_words": _headline(len(lines), sum(counted.values()), none, buy),
        "changes": sum(counted.values()),
        "summary": _summary(counted),
        "buy": buy,
        "unrated": ", ".join(one.name for one in proposal.unrated),
        "without_night": ", ".join(proposal.ahead.without_night[:5]),
        "weeks": proposal.settings["plan_weeks"],
        "ladder_count": places_of(page.places),
    }


def _headline(loads: int, changes: int, none: int, buy: int) -> str:
    if not loads:
        return _("No planned step wants a set")
    if none:
        return ngettext(
            "%(n)s step has no set that surely finishes", "%(n)s steps have no set that surely finishes", none
        ) % {"n": none}
    if buy:
        return ngettext("%(n)s set to buy; all else has one", "%(n)s sets to buy; all else has one", buy) % {"n": buy}
    if changes:
        return _("Every step has its set once this is kept")
    return _("Every step has its set")


def _summary(counted: dict[str, int]) -> str:
    words = {
        "new": lambda n: ngettext("%(n)s step gets a set", "%(n)s steps get a set", n),
        "moved": lambda n: ngettext("%(n)s gets another", "%(n)s get another", n),
        "gone": lambda n: ngettext("%(n)s is let go", "%(n)s are let go", n),
    }
    return ", ".join(words[key](n) % {"n": n} for key, n in counted.items() if n)


def load_line(page: Page, key: UUID) -> dict[str, Any]:
    """A load with its sets, the reason, how sure, and what changes."""
    proposal, load = page.proposal, page.proposal.loads[key]
    choice, sets, was = proposal.choices[key], proposal.sets_of(key), proposal.present(key)
    able = [pk for pk in sets if pk in proposal.states]
    chance = proposal.chance(key)
    bought = sum(isinstance(seat, ToBuy) for seat in choice.seats)
    word = _said(page, chance) if able or bought else ""
    left = not choice.seats
    change = "" if tuple(sets) == was else "new" if not was else "moved" if sets else "gone"
    tool_type = load.steps[0].tool_type
    floors = [zone.zone.name for step in load.steps if (zone := zone_of_step(load.plan, step)) is not None]
    tonight = is_tonight(load, proposal.branch, page.now)
    place, count = page.places.get(tool_type.pk, (0, 1))
    return {
        "key": key,
        "url": reverse("jobs:sets_of_step", args=[key]),
        "type": tool_type,
        "place": place,
        "count": count,
        "floors": ", ".join(dict.fromkeys(floors)),
        "nights": len(load.nights),
        "asks": show_about(load.worked_m2, units_of(page.person)),
        "sets": [_set(page, page.states[pk], load, word) for pk in sets if pk in page.states],
        "bought": bought,
        "reason": reason_words(page, load, choice),
        "troubles": [trouble_words(one, len(choice.seats)) for one in choice.troubles] + _unable(page, sets),
        "none": left or bool(choice.troubles) or bool(_unable(page, sets)),
        "enough": word,
        "mark": {"yes": "yes", "tight": "tight", "no": "no"}.get(word, ""),
        "sure": sure_words(chance) if chance is not None and word else "",
        "own": choice.reason == Reason.YOUR_CHOICE and any(row.locked for row in load.rows),
        "change": change,
        "change_words": _change_words(page, key, change, was),
        "tonight": tonight,
        "order_url": f"{reverse('jobs:reorder')}?type={tool_type.pk}#why" if bought or left else "",
        "plan_url": reverse("jobs:plan", args=[load.job.pk])
        if choice.why_none in (WhyNone.TOO_LARGE, WhyNone.NO_FIT)
        else "",
        "on_order": proposal.on_order.get(tool_type.pk, 0) if bought or left else 0,
    }


def _unable(page: Page, sets: Sequence[UUID]) -> list[str]:
    words = _("%(set)s is meant for it, but is set aside, missing or retired.")
    return [words % {"set": page.name(pk)} for pk in sets if pk not in page.proposal.states]


def _said(page: Page, chance: float | None) -> str:
    settings = page.proposal.settings
    # A chance at the limit is one by which it was planned: rounding is no doubt.
    found = (
        enough((chance or 0.0) + 1e-6, settings["finish_limit"], settings["tight_limit"])
        if chance is not None
        else None
    )
    return found.word if found is not None else ""


def _set(page: Page, state: SetState, load: LoadAhead, word: str = "") -> dict[str, Any]:
    life = page.proposal.lives.get(state.pk)
    waters = page.proposal.waters
    water = waters.now(state.pk, page.now) if state.pk in waters.sets else None
    return {
        "pk": state.pk,
        "name": name_of(state),
        "where": where_of(state),
        "face": set_face(state, page.places, conditioning=water, life=life, need_m2=load.reference_m2, enough=word),
        "left": show_about(life.likely_m2 / load.factor, units_of(page.person)) if life else "",
    }


def reason_words(page: Page, load: LoadAhead, choice: Choice) -> str:
    """Why a load goes with what it goes with, in one short sentence."""
    if choice.reason == Reason.YOUR_CHOICE and not any(row.locked for row in load.rows):
        return _("Out with this job already.") if load.out else _("Meant for tonight already.")
    if choice.why_none is not None:
        return none_words(choice.why_none)
    return {
        Reason.SMALLEST: _("The smallest free set that surely finishes."),
        Reason.ONLY_READY: _("The only one that is ready in time."),
        Reason.YOUR_CHOICE: _("Chosen by hand."),
        Reason.KEPT: _("Stays as it is meant."),
        Reason.SHARES: _("Goes on with a set that other work uses anyway."),
        Reason.TOGETHER: _("Best for all jobs together."),
        Reason.FRESH: _("A fresh one: no used set that surely finishes is free."),
        Reason.LEFTOVER_FIRST: _("A leftover goes first and is run to its end, a sure set behind it."),
        Reason.TWO_SETS: _("One set is not enough: the second goes on when the first is worn."),
        Reason.WET_ALREADY: _("Wet already, from a job called off."),
        Reason.TO_BUY: _("None that surely finishes is free then: buy one, or take one by hand."),
        Reason.NONE: "",
    }[choice.reason]


def none_words(why: WhyNone) -> str:
    """Why a load has no set, and what then."""
    return {
        WhyNone.TOO_LARGE: _("Even two new sets would not finish it: plan it over more nights."),
        WhyNone.NO_FIT: _("No machine of the shift takes this type: plan another machine or type."),
        WhyNone.NOT_READY: _("None is ready by then, nor can one be bought by then."),
        WhyNone.SHORT: _("None that is ready surely finishes, nor can one be bought by then."),
        WhyNone.TAKEN: _("All that would do are with other jobs then: take one from them by hand."),
        WhyNone.UNLIKELY: _("The bid is too unlikely to open a set for it."),
    }[why]


def trouble_words(trouble: Trouble, sets: int = 1) -> str:
    """What is wrong with a set that somebody fixed, or with the two of them."""
    if trouble == Trouble.SHORT and sets > 1:
        return _("With what they do before, the two do not surely finish it.")
    return {
        Trouble.GONE: _("What is meant for it is set aside, missing or retired."),
        Trouble.NO_FIT: _("It does not fit the machine, or pieces are missing."),
        Trouble.NOT_READY: _("It is not ready in time."),
        Trouble.SHORT: _("It does not surely finish, and nothing stands behind it."),
        Trouble.CLASH: _("It is meant for other work at that time."),
    }[trouble]


def _change_words(page: Page, key: UUID, change: str, was: Sequence[UUID]) -> str:
    if change == "new":
        return _("new")
    if not change:
        return ""
    old = page.names(was)
    words = _("instead of %(set)s") if change == "moved" else _("lets go of %(set)s")
    why = next((why for pk in was if pk not in page.proposal.sets_of(key) if (why := _why_left(page, key, pk))), "")
    return f"{words % {'set': old}}: {why}" if why else words % {"set": old}


def _why_left(page: Page, key: UUID, pk: UUID) -> str:
    """Why a set that was meant for a load does not go with it any more."""
    proposal = page.proposal
    if pk not in proposal.states:
        return _("it is set aside, missing or retired")
    mine = proposal.told[key]
    one = next((one for kind in proposal.plan.types for one in kind.sets if one.set_id == pk), None)
    if one is not None and one.ready_h > mine.start_h:
        return _("it is not ready in time")
    for other, choice in proposal.choices.items():
        theirs = proposal.told[other]
        if other != key and pk in choice.seats and theirs.start_h < mine.until_h and mine.start_h < theirs.until_h:
            return _("it goes with %(job)s") % {"job": page.load_words(other)}
    if one is not None and one.capacity_m2 < mine.area_m2:
        return _("it does not surely finish")
    return _("better for all jobs together")


# --- one load: sets to choose from, and what follows ---


def load_context(page: Page, key: UUID, shown: ByHand | None) -> dict[str, Any]:
    """A load, the sets of its type as they stand to it, and what follows from the one that is looked at."""
    load = page.proposal.loads[key]
    rows = [_option(page, load, one) for one in standing(page.proposal.plan, key) if one.set_id in page.states]
    return {
        "load": load,
        "line": load_line(page, key),
        "when": when_for(page.person, load.leaves_at, page.now),
        "rows": rows[:_SHOWN],
        "shown": consequence_words(page, shown) if shown is not None else None,
        "ladder_count": places_of(page.places),
    }


def _option(page: Page, load: LoadAhead, one: SetStanding) -> dict[str, Any]:
    assert isinstance(one.set_id, UUID)
    sets = page.proposal.sets_of(load.key)
    words = [trouble_words(trouble) for trouble in one.troubles if trouble != Trouble.SHORT]
    if Trouble.SHORT in one.troubles:
        words.append(_("Does not surely finish it alone."))
    words += [_("Goes with %(job)s.") % {"job": page.load_words(other)} for other in one.ousts]
    if one.is_wet:
        words.append(_("Wet already, from a job called off."))
    return {
        **_set(page, page.states[one.set_id], load),
        "words": words,
        "free": one.is_free,
        "now": sets.index(one.set_id) + 1 if one.set_id in sets else 0,
    }


def consequence_words(page: Page, shown: ByHand) -> dict[str, Any]:
    """What keeping a set by hand does: what the load then runs on, and what others get."""
    found = shown.consequence
    return {
        "set": page.name(shown.set_id),
        "set_id": shown.set_id,
        "seats": page.names(found.seats) if found.seats else "",
        "both": len(found.seats) > 1,
        "troubles": [trouble_words(one, len(found.seats)) for one in found.troubles],
        "changes": [change_sentence(page, one, shown.set_id) for one in found.changes],
        "digest": shown.digest,
    }


def change_sentence(page: Page, change: Change, set_id: UUID) -> str:
    """ "It takes it from Fennick store, Sat 28 Nov: that gets GL-7K2M46 instead."."""
    job = page.load_words(change.load_id)
    takes = set_id in change.before and set_id not in change.after
    if change.effect == Effect.LOSES:
        if takes:
            return _("It takes it from %(job)s: that has no set then.") % {"job": job}
        return _("%(job)s has no set then.") % {"job": job}
    words = {"job": job, "set": page.names(change.after)}
    if takes:
        return _("It takes it from %(job)s: that gets %(set)s instead.") % words
    if not change.before:
        return _("%(job)s gets %(set)s.") % words
    return _("%(job)s gets %(set)s instead.") % words
