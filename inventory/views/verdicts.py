"""A scan's answer as the verdict part shows it: kind, word, grit, code, reason, what next, one or two actions."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.custody import (
    Elsewhere,
    NotConditioned,
    NotConfirmed,
    ScannedOut,
    Soaking,
)
from inventory.actions.gate import holder_of, where_of
from inventory.actions.sighting import missing
from inventory.estimate import SetLife
from inventory.gauge import GaugeFace
from inventory.hooks import NextUse
from inventory.ledger.conditioning import Conditioning
from inventory.models import Branch, Outing, Person, Place, SetState, ToolType
from inventory.pieces_words import face_words, remnant_words
from inventory.queries.catalogue import ladder
from inventory.queries.custody import Other
from inventory.queries.opening import Opened
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.set_faces import set_face
from inventory.templatetags.gritledger import sure_words
from inventory.times import when_for


@dataclass
class Verdict:
    """What parts/verdict.html reads; ``short`` is the word of the list line, ``mark`` its mark."""

    kind: str
    word: str
    grit: str = ""
    code: str = ""
    lines: list[str] = field(default_factory=list)
    reason: str = ""
    then: str = ""
    face: GaugeFace | None = None
    actions: list[dict[str, Any]] = field(default_factory=list)
    why_action: dict[str, Any] | None = None
    id: str = "verdict"
    short: str = ""
    mark: str = ""
    # Whether scanning on leaves something unanswered here, and whether something was written that Undo voids.
    stays_open: bool = False
    wrote: bool = False
    # The set that came in with this scan, and the question for its height (views.measuring) where that is worth it.
    came_in: SetState | None = None
    ask: dict[str, Any] | None = None
    # Whether it counts as one more set; a height kept does not.
    counts: bool = True


def face_of(
    state: SetState, branch: Branch, conditioning: Conditioning | None = None, life: SetLife | None = None
) -> GaugeFace | None:
    """The gauge of one set; None for a type that has no place on the ladder. One query (the ladder)."""
    return set_face(state, ladder(branch), conditioning=conditioning, life=life)


def type_line(tool_type: ToolType) -> str:
    """ "resin, 9 in., set of 3"."""
    parts = [str(tool_type.get_bond_display())]
    if tool_type.size_line:
        parts.append(tool_type.size_line)
    parts.append(_("set of %(count)d") % {"count": tool_type.pieces_per_set})
    return ", ".join(parts)


def name_with_place(state: SetState) -> str:
    """ "GL-7K2M46: rack B, peg 14"."""
    where = where_of(state)
    code = state.shown_code
    return _("%(set)s: %(where)s") % {"set": code, "where": where} if where else code


def enough_words(chance: float | None, finish_limit: float, tight_limit: float) -> tuple[str, str]:
    """The gauge state and words for a chance of finishing: yes, tight or no; nothing when it is not known."""
    if chance is None:
        return "", ""
    key = "yes" if chance >= finish_limit else "tight" if chance >= tight_limit else "no"
    words = {"yes": _("Enough: yes, %(sure)s"), "tight": _("Enough: tight, %(sure)s"), "no": _("Short, %(sure)s")}
    return key, words[key] % {"sure": sure_words(chance)}


def in_hand(face: GaugeFace | None) -> GaugeFace | None:
    """The gauge of a set just taken: it is in the person's hand, so it is drawn whole."""
    return None if face is None else replace(face, where="here")


def taken_out(
    done: ScannedOut,
    state: SetState,
    then: str,
    enough: str,
    face: GaugeFace | None,
    *,
    short: bool = False,
    found: str = "",
) -> Verdict:
    """The set left; short: it is not likely to finish, which is said as loudly as a refusal.

    found: that it was missing until now, and since when.
    """
    tool_type = state.tool_set.tool_type
    water = done.words.line if done.words else ""
    overridden = done.gate == "overridden"
    return Verdict(
        kind="short" if short else "taken",
        word=_("Taken, but short") if short else _("Taken"),
        grit=tool_type.grit,
        code=state.shown_code,
        lines=[
            str(tool_type.get_bond_display()),
            _("though not ready: %(water)s") % {"water": water} if overridden else water,
            *([found] if found else []),
            *(words for words in (remnant_words(state), face_words(state)) if words),
        ],
        reason=enough,
        then=then,
        face=in_hand(face),
        short=_("taken, not ready")
        if overridden
        else _("taken, short")
        if short
        else _("taken, found again")
        if found
        else _("taken"),
        mark="gauge-empty" if short else "tick",
        wrote=True,
    )


def warn_astray(verdict: Verdict, astray: tuple[str, ...], *, some: bool = False) -> None:
    """Say loudly that a set just taken is not planned here: it is taken all the same, and does not count here.

    some: of several sets taken at once others are planned; then only the sentences are added.
    """
    if not astray:
        return
    verdict.reason = " ".join([*astray, verdict.reason]).strip()
    if verdict.kind == "refused" or some:
        return
    verdict.kind, verdict.mark = "short", "ask"
    verdict.word, verdict.short = _("Taken, not planned"), _("taken, not planned")
    verdict.then = " ".join([_("Undo it if it is not to go."), verdict.then]).strip()


def promised(state: SetState, use: NextUse, outing: Outing, hidden: dict[str, str]) -> Verdict:
    """Another outing is to leave with the set: whether it is taken all the same; nothing is written yet."""
    tool_type = state.tool_set.tool_type
    url = reverse("inventory:scan_out", args=[outing.pk])
    take = {"label": _("Take it all the same"), "url": url, "hidden": {**hidden, "set": str(state.pk)}}
    return Verdict(
        "elsewhere",
        _("Take it?"),
        grit=tool_type.grit,
        code=state.shown_code,
        lines=[type_line(tool_type), where_of(state)],
        reason=_("It is meant for %(use)s. Take it all the same?") % {"use": use.words},
        actions=[
            take | {"name": "do", "value": "take_anyway"},
            {
                "label": _("Leave it for %(job)s") % {"job": use.outing_name or use.words.split(",")[0]},
                "url": url,
                "method": "get",
                "kind": "fill",
            },
        ],
        short=_("meant elsewhere"),
        mark="swap",
        stays_open=True,
    )


def taken_in(state: SetState, where: str, face: GaugeFace | None, found: bool, *, tub: str = "") -> Verdict:
    """The set came back. tub: the tub it went into, said as loudly as that it came."""
    tool_type = state.tool_set.tool_type
    word = _("Found") if found else _("In")
    return Verdict(
        kind="taken",
        word=_("Into %(tub)s") % {"tub": tub} if tub else word,
        grit=tool_type.grit,
        code=state.shown_code,
        lines=[type_line(tool_type)],
        reason=where,
        face=face,
        short=_("found") if found else _("in %(tub)s") % {"tub": tub} if tub else _("in"),
        mark="tick",
        wrote=True,
        came_in=state,
    )


def refused(
    refusal: Refused,
    state: SetState,
    person: Person,
    now: datetime,
    *,
    outing: Outing | None = None,
    hidden: dict[str, str] | None = None,
    instead: Other | None = None,
) -> Verdict:
    """The set may not; why, what next, and where the right one hangs if that is known."""
    tool_type = state.tool_set.tool_type
    verdict = Verdict(
        kind="refused",
        word=_("Refused"),
        grit=tool_type.grit,
        code=state.shown_code,
        lines=[type_line(tool_type), where_of(state)],
        reason=refusal.why,
        then="" if instead is not None else refusal.next_step,
        short=_("refused"),
        mark="cross",
    )
    if refusal.code == "already_there":
        verdict.kind, verdict.word, verdict.mark = "taken", _("There already"), "tick"
        verdict.short = _("there already")
        return verdict
    if isinstance(refusal, Elsewhere):
        return _elsewhere(refusal, verdict, person, now, outing, hidden or {})
    if missing(state):
        verdict.then = _("Say where it is, then scan it again.")
        verdict.reason = " ".join([_missing_since(state, person, now), verdict.reason])
        found_url = reverse("inventory:set_act", args=[state.pk, "found"])
        verdict.actions.append({"label": _("It is here: say where"), "url": found_url, "method": "get", "kind": "fill"})
    url = reverse("inventory:scan_out", args=[outing.pk]) if outing is not None else ""
    base = {**(hidden or {}), "set": str(state.pk)}
    if isinstance(refusal, NotConfirmed) and outing is not None and person.can(Right.CONFIRM_SOAK):
        label = _("It is wet through: confirm and take it")
        kind = "" if verdict.actions else "fill"
        verdict.actions.append(
            {"label": label, "url": url, "kind": kind, "hidden": base, "name": "do", "value": "confirm"}
        )
        verdict.stays_open = True
    if isinstance(refusal, NotConditioned | NotConfirmed):
        verdict.short, verdict.mark = _("refused, dry"), "drop-struck"
        if refusal.conditioning.state == "soaking":
            verdict.short, verdict.mark = _("refused, soaking"), "ripples"
        elif refusal.conditioning.state == "soaked, not confirmed":
            verdict.short, verdict.mark = _("not confirmed"), "drop-hollow"
        if instead is not None and outing is not None:
            verdict.actions.append(_take_instead(instead, outing, url, hidden or {}, first=not verdict.actions))
        if outing is not None and person.can(Right.OVERRIDE):
            verdict.why_action = {
                "url": url,
                "hidden": base | {"do": "override"},
                "label": _("Send it all the same and say why"),
            }
    elif isinstance(refusal, Soaking):
        verdict.kind, verdict.word, verdict.short, verdict.mark = "open", _("In water"), _("in water"), "ripples"
    return verdict


def found_words(done: ScannedOut, person: Person, now: datetime) -> str:
    """ "It was missing since Mon 18 May 20:00; it is found."; "" for a set that was not missing."""
    if not done.was_missing:
        return ""
    if done.missing_since is None:
        return _("It was missing; it is found.")
    return _("It was missing since %(when)s; it is found.") % {"when": when_for(person, done.missing_since, now)}


def _missing_since(state: SetState, person: Person, now: datetime) -> str:
    """ "Missing since Mon 18 May 20:00." """
    since = state.facts.get("place_since")
    if not since:
        return _("It is missing.")
    return _("Missing since %(when)s.") % {"when": when_for(person, datetime.fromisoformat(since), now)}


def _take_instead(instead: Other, outing: Outing, url: str, hidden: dict[str, str], *, first: bool) -> dict[str, Any]:
    """Another set's button; for whom it is meant is said, unless for this outing."""
    use = instead.use
    details = [] if instead.confirmed else [_("Soaked, not confirmed")]
    if use is not None and use.outing != outing.pk:
        details.append(_("Meant for %(use)s") % {"use": use.words})
    return {
        "label": _("Take %(set)s") % {"set": name_with_place(instead.state)},
        "detail": ". ".join(details),
        "url": url,
        "kind": "fill" if first and not details else "",
        "hidden": {**hidden, "set": str(instead.state.pk)},
    }


def _elsewhere(
    refusal: Elsewhere, verdict: Verdict, person: Person, now: datetime, outing: Outing | None, hidden: dict[str, str]
) -> Verdict:
    verdict.kind, verdict.word, verdict.short, verdict.mark = "elsewhere", _("Elsewhere"), _("elsewhere"), "swap"
    verdict.lines = verdict.lines[:1]
    if refusal.since is not None:
        verdict.lines.append(_("since %(when)s") % {"when": when_for(person, refusal.since, now)})
    if outing is not None:
        url = reverse("inventory:scan_out", args=[outing.pk])
        verdict.actions = [
            {
                "label": _("Hand it over to %(outing)s") % {"outing": outing.name},
                "url": url,
                "kind": "fill",
                "hidden": hidden,
                "name": "do",
                "value": "hand_over",
            },
            {"label": _("Leave it with %(holder)s") % {"holder": refusal.holder}, "url": url, "method": "get"},
        ]
        verdict.stays_open = True
    return verdict


def take_back(refusal: Elsewhere, state: SetState, target: Place, chosen: Place | None) -> Verdict:
    """A set that is to leave yet is scanned in: with whom it is, and whether it is taken back."""
    tool_type = state.tool_set.tool_type
    hidden = {"set": str(state.pk)} | ({"place": str(chosen.pk)} if chosen is not None else {})
    url = reverse("inventory:scan_in")
    return Verdict(
        "elsewhere",
        _("Take it back?"),
        grit=tool_type.grit,
        code=state.shown_code,
        lines=[type_line(tool_type)],
        reason=refusal.why,
        then=refusal.next_step,
        actions=[
            {
                "label": _("Take it back to %(place)s") % {"place": target.name},
                "url": url,
                "hidden": hidden,
                "name": "do",
                "value": "take_back",
            },
            {
                "label": _("Leave it on %(outing)s") % {"outing": refusal.holder},
                "url": url,
                "method": "get",
                "kind": "fill",
            },
        ],
        short=_("on %(outing)s") % {"outing": refusal.holder},
        mark="swap",
        stays_open=True,
    )


def unknown(sentence: str, text: str) -> Verdict:
    """Nothing opens: the sentence says why and what next."""
    verdict = Verdict("refused", _("Unknown"), code=text[:24], reason=sentence, short=_("unknown"), mark="ask")
    if text:
        url = reverse("inventory:find") + "?" + urlencode({"q": text[:40]})
        verdict.actions.append({"label": _("Find"), "url": url, "method": "get"})
    return verdict


def which(text: str, states: list[SetState], url: str, hidden: dict[str, str]) -> Verdict:
    """Several sets go by one own code: each with grit, type, code and place; the one picked is scanned as it stands."""
    return Verdict(
        "open",
        _("Which one?"),
        code=text[:24],
        reason=ngettext(
            "%(count)d set has the own code “%(code)s”.", "%(count)d sets have the own code “%(code)s”.", len(states)
        )
        % {"count": len(states), "code": text},
        then=_("Take the one you hold, or scan its label."),
        actions=which_actions(states, url, {**hidden, "asked": text[:24]}),
        short=_("which one?"),
        mark="ask",
        stays_open=True,
    )


def which_actions(states: list[SetState], url: str, hidden: dict[str, str], name: str = "set") -> list[dict[str, Any]]:
    """A button for each of several sets: grit and code, type and where it is; it posts the set as ``name``."""
    return [
        {
            "label": " · ".join(part for part in (state.tool_set.tool_type.grit, state.code) if part),
            "detail": ". ".join(part for part in (state.tool_set.tool_type.name, _where(state)) if part),
            "url": url,
            "hidden": {**hidden, name: str(state.pk)},
        }
        for state in states
    ]


def states_of(opened: Opened) -> list[SetState]:
    """The sets of one own code, coarse to fine."""
    states = {state.pk: state for state in states_with_types(one.pk for one in opened.several)}
    return [states[one.pk] for one in opened.several if one.pk in states]


def _where(state: SetState) -> str:
    """Where it is in one line: its place, who has it, or since nobody knows."""
    if state.outing_id is not None:
        return holder_words(state)
    return _("missing") if missing(state) else where_of(state)


def blank(code: str, back: str) -> Verdict:
    """A blank label: it becomes a set once its type and height are named."""
    return Verdict(
        "open",
        _("Blank label"),
        code=code,
        reason=_("Name its type and height, and it is a set."),
        actions=[
            {
                "label": _("Name it"),
                "url": reverse("inventory:opened", args=[code]) + f"?then={back}",
                "method": "get",
                "kind": "fill",
            }
        ],
        short=_("blank"),
        mark="ask",
        stays_open=True,
    )


def holder_words(state: SetState) -> str:
    """ "Out: Dag P., van 3"."""
    return _("Out: %(holder)s") % {"holder": holder_of(state)}
