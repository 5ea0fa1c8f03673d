"""What a set's page on the phone shows: the state as a band, life, next use, last lines, and the likeliest action."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from django.contrib.sessions.backends.base import SessionBase
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from inventory.actions.gate import holder_of, where_of
from inventory.claims import share_words
from inventory.context import address
from inventory.early_end import EarlyEnd, early_end, failed_at
from inventory.gauge import STATES
from inventory.height_now import HeightNow, height_words, heights_now, last_reading
from inventory.hooks import NextUse, next_use
from inventory.ledger.conditioning import Conditioning
from inventory.life_floor import life_floor
from inventory.models import Branch, Label, Outing, Person, SetState, ToolSet
from inventory.models.choices import Face, Fitness, PlaceKind, RetiredWhy
from inventory.pieces_words import part_load_words, pieces_of, remnant_words
from inventory.queries.custody import open_outings, roomiest_tub, will_be_ready
from inventory.queries.finishing import chance_for, lives_of
from inventory.queries.last_lines import last_lines
from inventory.queries.measuring import worth_measuring
from inventory.queries.soak import Waters, states_with_types, waters_of
from inventory.rights import Right
from inventory.shop_settings import ShopSettings, settings_of
from inventory.soak_words import soak_words
from inventory.times import show_when, when_for, zone_of
from inventory.units import show_about, show_height, show_range
from inventory.views import measuring, verdicts, wear

# Who retires a set or buys the next one may claim for it.
MAY_CLAIM = (Right.SETTLE, Right.BUY)


def set_context(
    state: SetState,
    person: Person,
    now: datetime,
    label: Label | None = None,
    session: SessionBase | None = None,
    back: str = "",
) -> dict[str, Any]:
    """Everything the page shows of one set. state: with type, place, outing and holder loaded.

    session: the browser's, which keeps what was put off; without it no height is asked for. back: where answers lead.
    """
    branch, tool_set = person.branch, state.tool_set
    waters = waters_of([state], branch, at=now)
    conditioning = waters.now(state.pk, now)
    life = lives_of([tool_set], branch, now).get(tool_set.pk)
    use = next_use([tool_set.pk], now).get(tool_set.pk)
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    lines, count = last_lines(tool_set.pk, person, now)
    floor = life_floor(use, settings)
    sets = _with_companion(tool_set, use, branch, now) if use else [tool_set]
    chance = chance_for(sets, use.reference_m2, branch, now) if use else None
    if state.fitness != Fitness.USABLE or (state.place is not None and state.place.kind == PlaceKind.UNKNOWN):
        # Nobody can send it: whether it would be enough is no answer.
        chance = None
    enough, enough_words = verdicts.enough_words(chance, settings["finish_limit"], settings["tight_limit"])
    early = early_end(state, settings)
    context: dict[str, Any] = {
        "state": state,
        "tool_set": tool_set,
        "tool_type": tool_set.tool_type,
        "code": state.shown_code or tool_set.tool_type.name,
        "type_line": verdicts.type_line(tool_set.tool_type),
        "band": _looked(band(state, conditioning, person, now)),
        "face": verdicts.face_of(state, branch, conditioning, life),
        "life": life,
        "use": use,
        "use_starts": when_for(person, use.starts_at, now) if use else "",
        "water_by": when_for(person, use.water_by, now) if use and use.water_by else "",
        "use_water": _water_words(state, waters, use, conditioning, person, now) if use else "",
        "enough": enough,
        "enough_words": enough_words,
        "lines": lines,
        "entries": count,
        "replaced": _replaced(label, person, now),
        "act_id": uuid4(),
        "foreign": foreign_words(state, person),
        "notes": _notes(state, person),
        "ended": _ended(state, settings, person),
        **actions_of(state, conditioning, use, person, now, early),
    }
    back = back or reverse("inventory:set_phone", args=[tool_set.pk])
    context |= wear.notice(state, person, now, back, foreign=bool(context["foreign"]))
    if session is not None and state.outing_id is None and not context["foreign"]:
        worths = worth_measuring([state], branch, now, uses={tool_set.pk: use} if use else {})
        context["measures"] = measuring.asks(worths.values(), person, session, back)
    if life is not None:
        low, likely, high = life.on_floor(floor.factor)
        context |= {
            "life_likely": show_about(likely, person.units),  # type: ignore[arg-type]
            "life_range": show_range(low, high, person.units),  # type: ignore[arg-type]
            "life_floor": floor.words,
            "life_medium": "" if floor.medium else show_about(life.likely_m2, person.units),  # type: ignore[arg-type]
            "worn_out": life.worn_out,
            "life_factor": floor.factor,
        }
    return context


def lowest_context(state: SetState, person: Person, now: datetime) -> dict[str, Any]:
    """The lowest piece: as it was read and when, and what is likely today where it worked since."""
    today = now.astimezone(zone_of(person.branch)).date()
    height = None if state.fitness == Fitness.RETIRED else heights_now([state], person.branch, now).get(state.pk)
    if height is None and state.lowest_height_mm is not None:
        at, worked = last_reading(state.wear)
        height = HeightNow(state.lowest_height_mm, at, worked)
    return {"lowest": height_words(height, person, today)}


def _notes(state: SetState, person: Person) -> list[str]:
    """What else is to be known of it: pieces missing and what that means, a face that does not cut."""
    notes = [f"{remnant_words(state)}. {part_load_words(state)}".strip()] if remnant_words(state) else []
    if state.face == Face.GLAZED and state.fitness != Fitness.RETIRED:
        notes.append(_("Its face is glazed: it stops cutting until it is dressed."))
    dressed_mm = state.facts.get("dressed_mm") or 0.0
    if dressed_mm > 0:
        height = show_height(dressed_mm, person.units)  # type: ignore[arg-type]
        notes.append(_("Dressing has taken %(height)s of it; that is no wear by area.") % {"height": height})
    return notes


def _ended(state: SetState, settings: ShopSettings, person: Person) -> dict[str, str]:
    """Where it failed before its rating: at what share, whether a claim is for that, the way there; else nothing."""
    failed = failed_at(state, settings)
    if failed is None or failed.share >= 1:
        return {}
    shares = {"share": share_words(failed.share), "limit": share_words(settings["claim_share"])}
    may = any(map(person.can, MAY_CLAIM))
    if failed.share <= settings["claim_share"]:
        words, label = _("It ended at %(share)s of its rating: its supplier may be asked."), _("Claim to its supplier")
    else:
        words = _("It ended at %(share)s of its rating. The shop claims from %(limit)s down, so there is no claim.")
        label = _("What a claim is for")
    url = reverse("inventory:set_claim", args=[state.pk]) if may and person.branch_id == state.branch_id else ""
    return {"words": words % shares, "label": label, "url": url}


def _with_companion(tool_set: ToolSet, use: NextUse, branch: Branch, now: datetime) -> list[ToolSet]:
    """The set, and the other of the pair that is meant to finish its steps with it, if that one will be ready."""
    other = next(iter(states_with_types([use.companion])), None) if use.companion else None
    if other is None:
        return [tool_set]
    if use.outing is None or other.outing_id != use.outing:
        times = {"leaves_at": use.leaves_at, "starts_at": use.starts_at, "now": now}
        if not will_be_ready(other, branch, **times):
            return [tool_set]
    return [tool_set, other.tool_set]


def _water_words(
    state: SetState, waters: Waters, use: NextUse, answer: Conditioning, person: Person, now: datetime
) -> str:
    """What its next step asks of its water beyond how it is now, in the gate's own question; "" where it passes."""
    if (
        state.outing_id is not None
        or use.leaves_at <= now
        or answer.state not in ("conditioned", "soaked, not confirmed")
    ):
        return ""
    in_water = state.place is not None and state.place.kind == PlaceKind.BUCKET
    then = waters.at_start(state.pk, use.leaves_at, max(use.starts_at, use.leaves_at), in_water=in_water)
    if then.passes or then.state != "dry":
        return ""
    words = _("Dries out before that step starts, %(when)s: put it back in water, or carry it in a bucket of water.")
    return words % {"when": when_for(person, use.starts_at, now)}


def band(state: SetState, conditioning: Conditioning, person: Person, now: datetime) -> dict[str, Any]:
    """The state across the page: a key of the states, its words, the place, and a second line that says why."""
    where = where_of(state)
    clock = {"units": person.units, "clock_24h": person.clock_24h}
    soak = soak_words(conditioning, person.branch, now, **clock)  # type: ignore[arg-type]
    if state.fitness == Fitness.RETIRED:
        why = str(dict(RetiredWhy.choices).get(state.fitness_why or "", ""))
        return {"key": "aside", "words": _("Retired"), "where": where, "why": why}
    if state.place is not None and state.place.kind == PlaceKind.UNKNOWN:
        since = state.facts.get("place_since")
        when = show_when(datetime.fromisoformat(since), now, person.branch, clock_24h=person.clock_24h) if since else ""
        return {"key": "missing", "words": _("Missing since %(when)s") % {"when": when}, "where": "", "why": ""}
    if state.fitness == Fitness.SET_ASIDE:
        words = _("Set aside: %(why)s") % {"why": state.fitness_why or _("no reason given")}
        return {"key": "aside", "words": words, "where": where, "why": ""}
    if state.outing_id is not None:
        words = _("Out: %(holder)s") % {"holder": holder_of(state)}
        return {"key": "out", "words": words, "where": soak.line if soak.state else where, "why": ""}
    if state.face == Face.GLAZED:
        return {"key": "glazed", "words": _("Glazed: dress it"), "where": where, "why": soak.line if soak.state else ""}
    if soak.state:
        return {"key": soak.state, "words": soak.line, "where": where, "why": soak.sentence}
    return {"key": "", "words": where or _("No place known"), "where": soak.line, "why": soak.sentence}


def _looked(shown: dict[str, Any]) -> dict[str, Any]:
    """A band with its mark and colour."""
    look = STATES.get(shown["key"])
    return shown | {"mark": look.mark if look else "", "colour": look.colour if look else "ink"}


def _replaced(label: Label | None, person: Person, now: datetime) -> str:
    if label is None or label.replaced_at is None:
        return ""
    return when_for(person, label.replaced_at, now)


def foreign_words(state: SetState, person: Person) -> str:
    """Why nothing can be done here with a set of another branch, and what next; "" for one's own."""
    if state.branch_id in (None, person.branch_id):
        return ""
    words = _("It belongs to %(branch)s: it is looked at here, and worked with there.") % {"branch": state.branch}
    if state.outing_id is not None:
        return words + " " + _("If it was sent to you, scan its label under Scan in.")
    return words + " " + _("If it lies here, tell them: they send it on an outing, and you scan it in.")


def actions_of(
    state: SetState,
    conditioning: Conditioning,
    use: NextUse | None,
    person: Person,
    now: datetime,
    early: EarlyEnd | None = None,
) -> dict[str, Any]:
    """The filled action, two or three beside it, and the rest, by right and state; none for another branch's set."""
    if foreign_words(state, person):
        return {"first": None, "first_filled": None, "beside": [], "more": []}
    first = _likeliest(state, conditioning, use, person, now)
    beside, more = [], []
    if person.can(Right.SCAN):
        act = _links(state)
        if state.fitness == Fitness.USABLE:
            beside.append(act["aside"])
        if person.can(Right.LOG_WORK) and address("jobs:my_job"):
            beside.append({"label": _("Log work"), "url": address("jobs:my_job"), "method": "get"})
        more = [act["measure"], act["trouble"], *_pieces_acts(act, state, person)]
        more += [act["photos"], act["move"], act["label"]]
        if state.fitness == Fitness.SET_ASIDE and person.can(Right.LOG_WORK):
            more.insert(0, act["clear"])
        # A worn set is no more; entered by mistake, its end is voided in the ledger.
        ended = state.fitness == Fitness.RETIRED and state.fitness_why != RetiredWhy.WORN
        if ended and pieces_of(state, state.tool_set.tool_type) and person.can(Right.SETTLE):
            more.append({**act["clear"], "label": _("It still works: clear it")})
        if state.fitness != Fitness.RETIRED and person.can(Right.SETTLE):
            more.append(act["retire"])
    if early is not None and any(map(person.can, MAY_CLAIM)):
        beside.insert(0, _links(state)["claim"])
    filled = first and {**first, "kind": "fill thumb"}
    return {"first": first, "first_filled": filled, "beside": beside, "more": more}


def _pieces_acts(act: dict[str, dict[str, Any]], state: SetState, person: Person) -> list[dict[str, Any]]:
    """What may be done with its face and pieces; nothing with those of a retired set."""
    if state.fitness == Fitness.RETIRED:
        return []
    pieces = [act["pieces"]] if person.can(Right.LOG_WORK) else []
    return [act["dress"], *pieces, *([act["join"]] if person.can(Right.SETTLE) else [])]


def _links(state: SetState) -> dict[str, dict[str, Any]]:
    def link(name: str, label: str) -> dict[str, Any]:
        return {"label": label, "url": reverse("inventory:set_act", args=[state.pk, name]), "method": "get"}

    def page(name: str, label: str) -> dict[str, Any]:
        return {"label": label, "url": reverse(f"inventory:{name}", args=[state.pk]), "method": "get"}

    return {
        "dress": link("dress", _("Dress it")),
        "pieces": link("pieces", _("Change its pieces")),
        "join": link("join", _("Put another set's pieces in")),
        "photos": page("set_photos", _("Photos")),
        "claim": page("set_claim", _("Claim to its supplier")),
        "aside": link("set-aside", pgettext("to do", "Set aside")),
        "measure": link("measure", _("Measure its height")),
        "trouble": link("trouble", _("Report a trouble")),
        "move": link("move", _("Move it")),
        "label": link("label", _("Give it a new label")),
        "clear": link("clear", _("Clear it: somebody has looked")),
        "retire": link("retire", _("Retire it")),
        "confirm": link("confirm", _("Confirm it is wet through")),
        "found": link("found", _("It is here: say where")),
    }


def _likeliest(
    state: SetState, conditioning: Conditioning, use: NextUse | None, person: Person, now: datetime
) -> dict[str, Any] | None:
    if not person.can(Right.SCAN) or state.fitness == Fitness.RETIRED:
        return None
    act, named = _links(state), {"set": str(state.pk), "act_id": str(uuid4())}
    if state.place is not None and state.place.kind == PlaceKind.UNKNOWN:
        return act["found"]
    if state.outing_id is not None:
        return {"label": _("Scan it in"), "url": reverse("inventory:scan_in"), "hidden": named}
    if state.fitness == Fitness.SET_ASIDE:
        return act["clear"] if person.can(Right.LOG_WORK) else act["measure"]
    if state.face == Face.GLAZED:
        return act["dress"]
    if conditioning.state == "dry":
        tub = roomiest_tub(person.branch)
        if tub is not None:
            url = reverse("inventory:set_act", args=[state.pk, "move"])
            return {
                "label": _("Put it in %(tub)s") % {"tub": tub.name},
                "url": url,
                "hidden": {"place": str(tub.pk), "act_id": str(uuid4())},
            }
        return act["move"]
    if conditioning.state == "soaked, not confirmed" and person.can(Right.CONFIRM_SOAK):
        return {
            "label": _("It is wet through: confirm it"),
            "url": act["confirm"]["url"],
            "hidden": {"act_id": str(uuid4())},
        }
    if conditioning.state in ("soaking", "soaked, not confirmed") and address("inventory:soak"):
        return {"label": _("To its tub"), "url": address("inventory:soak"), "method": "get"}
    outing = _outing_for(use, person, now)
    if outing is not None:
        label = _("Scan out to %(outing)s") % {"outing": outing.name}
        return {"label": label, "url": reverse("inventory:scan_out", args=[outing.pk]), "hidden": named}
    return {"label": _("Scan it out"), "url": reverse("inventory:scan"), "method": "get"}


def _outing_for(use: NextUse | None, person: Person, now: datetime) -> Outing | None:
    """The outing its next use leaves with; without a next use the only open outing that leaves, if there is just one.

    What left before last night is gone: nothing is sent after it (twelve hours, our assumption).
    """
    outings = open_outings(person.branch, now)
    if use is not None:
        return next((outing for outing in outings if outing.pk == use.outing), None)
    leaving = [outing for outing in outings if outing.leaves_at > now - timedelta(hours=12)]
    return leaving[0] if len(leaving) == 1 else None
