"""What the running scans page does with one scan: reads it, does it, and says so. Doors are in ``scan``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from inventory.actions import custody
from inventory.actions.gate import name_of, where_of
from inventory.actions.ledger import Who
from inventory.actions.undo import undo_out
from inventory.hooks import PlannedUse, next_use
from inventory.models import Branch, Device, Outing, Person, Place, ToolSet
from inventory.models.choices import PlaceKind, SoakNeed
from inventory.queries.came_back import came_back
from inventory.queries.custody import places_for, sets_in, sets_of_outing, states_by_ids
from inventory.queries.finishing import lives_of
from inventory.queries.opening import Opened, open_text
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.shop_settings import settings_of
from inventory.times import show_time, zone_of
from inventory.views import list_verdicts, verdicts
from inventory.views.scan_plan import (
    Meant,
    astray_words,
    instead_of,
    is_promised,
    meant,
    next_words,
    offer_help,
    uses_for,
)
from inventory.views.verdicts import Verdict

_KEPT = 40
# Labels of these places take their sets; those of racks and tubs say where sets come in to.
_CARRIED = (PlaceKind.VAN, PlaceKind.CRATE, PlaceKind.BUCKET, PlaceKind.SITE)


@dataclass(frozen=True)
class Scan:
    """One scan as sent: what was scanned or which sets a button names, and what to do with it.

    asked: the line of an earlier scan that this one answers.
    """

    text: str = ""
    set_ids: tuple[UUID, ...] = ()
    do: str = ""
    why: str = ""
    place_id: UUID | None = None
    asked: str = ""

    @classmethod
    def of(cls, request: HttpRequest) -> Scan:
        """Read it from a posted form; whatever cannot be read is left out."""
        post = request.POST
        named = [part for part in (post.get("sets", "") or post.get("set", "")).split(",") if part]
        return cls(
            post.get("code", "")[:2000],
            tuple(found for found in (as_uuid(part) for part in named[:500]) if found is not None),
            post.get("do", ""),
            post.get("why", "")[:400],
            as_uuid(post.get("place", "") or post.get("carry", "")),
            post.get("asked", "")[:24],
        )


def as_uuid(text: str) -> UUID | None:
    """The key this text writes, or None."""
    try:
        return UUID(text)
    except ValueError:
        return None


def undo_url(act_id: object, back: str) -> str:
    """The address that voids an act and goes back to a page of ours."""
    return reverse("inventory:scan_undo") + "?" + urlencode({"act": str(act_id), "back": back})


def scan_out(who: Who, person: Person, outing: Outing, scan: Scan, now: datetime, plan: list[PlannedUse]) -> Verdict:
    """Do one scan on the page of an outing and give its verdict. plan: what the outing's shifts ask for."""
    branch = person.branch
    carry = _carried_in(branch, scan.place_id)
    hidden = {"carry": str(carry.pk)} if carry is not None else {}
    url = reverse("inventory:scan_out", args=[outing.pk])
    if len(scan.set_ids) > 1:
        return _many_out(who, branch, outing, scan, carry, now, plan)
    opened = _opened(scan, branch)
    if opened.place is not None:
        states = [state for state in sets_in(opened.place) if state.outing_id != outing.pk]
        label = ngettext("Take %(count)d set to %(outing)s", "Take %(count)d sets to %(outing)s", len(states))
        words = label % {"count": len(states), "outing": outing.name}
        return list_verdicts.of_place(opened.place, states, url, hidden, words)
    if opened.outing is not None:
        return _other_outing(opened.outing)
    if opened.blank:
        return verdicts.blank(opened.code, url)
    if opened.several:
        return verdicts.which(opened.text, verdicts.states_of(opened), url, hidden)
    if opened.tool_set is None:
        return verdicts.unknown(opened.sentence, opened.text)
    return _one_out(who, person, outing, opened.tool_set, scan, carry, now, plan)


def _one_out(
    who: Who,
    person: Person,
    outing: Outing,
    tool_set: ToolSet,
    scan: Scan,
    carry: Place | None,
    now: datetime,
    plan: list[PlannedUse],
) -> Verdict:
    branch = person.branch
    task = meant(plan, tool_set, outing, now)
    if task.promised is not None and scan.do == "":
        return verdicts.promised(
            states_with_types([tool_set.pk])[0], task.promised, outing, {"carry": str(carry.pk)} if carry else {}
        )
    use = task.first
    carry = carry_for(tool_set, carry)
    kept = {"carry": str(carry.pk)} if carry is not None else {}
    hidden = kept | {"set": str(tool_set.pk)}
    starts_at = use.starts_at if use else None
    try:
        if scan.do == "not_to_go":
            return _not_to_go(who, branch, tool_set, outing, now)
        if scan.do == "hand_over":
            custody.hand_over(who, branch, tool_set, outing, now=now, start_at=starts_at, to_place=carry)
            return _handed(tool_set, outing, task.astray)
        done = custody.scan_out(
            who,
            branch,
            tool_set,
            outing,
            now=now,
            start_at=starts_at,
            reference_m2=task.reference_m2,
            companion=task.companion.tool_set if task.companion else None,
            override_why=scan.why if scan.do == "override" else "",
            confirm=scan.do == "confirm",
            to_place=carry,
            step_key=use.step_key if use else None,
            shift_uuid=use.shift_uuid if use else None,
        )
    except Refused as refusal:
        (state,) = states_with_types([tool_set.pk])
        gated = isinstance(refusal, custody.NotConditioned | custody.NotConfirmed | custody.NotUsable)
        instead = instead_of(plan, tool_set, outing, starts_at or outing.leaves_at, now) if gated else None
        verdict = verdicts.refused(refusal, state, person, now, outing=outing, hidden=hidden, instead=instead)
        verdict.lines += task.astray
        return verdict
    (state,) = states_with_types([tool_set.pk])
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    key, enough = verdicts.enough_words(done.chance, settings["finish_limit"], settings["tight_limit"])
    if enough and task.companion is not None:
        enough = _("%(enough)s, with %(set)s") % {"enough": enough, "set": name_of(task.companion)}
    face = verdicts.face_of(state, branch, done.conditioning, lives_of([tool_set], branch, now).get(tool_set.pk))
    was_lost = verdicts.found_words(done, person, now)
    verdict = verdicts.taken_out(done, state, next_words(plan, outing), enough, face, short=key == "no", found=was_lost)
    if task.idle is not None:
        verdict.lines.append(
            _("%(set)s, meant to finish with it, would not be ready: it does not count") % {"set": name_of(task.idle)}
        )
    verdicts.warn_astray(verdict, task.astray)
    if carry is not None and carry.kind == PlaceKind.BUCKET:
        verdict.lines.append(_("travels in water, in %(bucket)s") % {"bucket": carry.name})
    if key == "no" and task.reference_m2:
        url = reverse("inventory:scan_out", args=[outing.pk])
        offer_help(verdict, tool_set, outing, task, settings, branch, now, url, kept)
    return verdict


def _not_to_go(who: Who, branch: Branch, tool_set: ToolSet, outing: Outing, now: datetime) -> Verdict:
    undo_out(who, branch, tool_set, outing, now=now)
    (state,) = states_with_types([tool_set.pk])
    return Verdict(
        "open",
        _("Undone"),
        grit=tool_set.tool_type.grit,
        code=state.shown_code,
        lines=[verdicts.type_line(tool_set.tool_type)],
        reason=where_of(state),
        then=_("Hang it back where it was."),
        short=_("undone"),
        mark="tick",
        counts=False,
    )


def _handed(tool_set: ToolSet, outing: Outing, astray: tuple[str, ...]) -> Verdict:
    (state,) = states_with_types([tool_set.pk])
    verdict = Verdict(
        "taken",
        _("Handed over"),
        grit=tool_set.tool_type.grit,
        code=state.shown_code,
        lines=[verdicts.type_line(tool_set.tool_type)],
        reason=_("%(outing)s has it now.") % {"outing": outing.name},
        short=_("handed over"),
        mark="swap",
        wrote=True,
    )
    verdicts.warn_astray(verdict, astray)
    return verdict


def _many_out(
    who: Who,
    branch: Branch,
    outing: Outing,
    scan: Scan,
    carry: Place | None,
    now: datetime,
    plan: list[PlannedUse],
) -> Verdict:
    states = {state.pk: state for state in states_by_ids(scan.set_ids, branch)}
    nexts = next_use(list(states), now)
    left = [one for pk, one in states.items() if is_promised(plan, one.tool_set, outing, nexts.get(pk), now)]
    for state in left:
        del states[state.pk]
    uses = {pk: Meant(uses_for(plan, state.tool_set)).first for pk, state in states.items()}
    done = custody.scan_out_many(
        who,
        branch,
        [state.tool_set for state in states.values()],
        outing,
        now=now,
        starts={pk: use.starts_at for pk, use in uses.items() if use is not None},
        to_place=carry,
        steps={pk: (use.step_key, use.shift_uuid) for pk, use in uses.items() if use is not None},
    )
    verdict = list_verdicts.many(done, states, _("taken"))
    verdict.lines += [_("%(set)s is meant elsewhere: scan it by itself.") % {"set": name_of(one)} for one in left]
    taken = [states[tool_set.pk] for tool_set in done.taken]
    words = {state.pk: astray_words(plan, state.tool_set, outing, nexts.get(state.pk)) for state in taken}
    verdicts.warn_astray(
        verdict,
        tuple(dict.fromkeys(line for state in taken for line in words[state.pk])),
        some=any(not words[state.pk] for state in taken),
    )
    return verdict


def scan_in(who: Who, person: Person, place: Place | None, scan: Scan, now: datetime) -> tuple[Verdict, Place | None]:
    """Do one scan on the page of sets coming in; gives the verdict and where sets come in to from now on."""
    branch, url = person.branch, reverse("inventory:scan_in")
    if scan.set_ids and len(scan.set_ids) > 1:
        return _many_in(who, branch, place, scan, now), place
    opened = _opened(scan, branch)
    if opened.place is not None and opened.place.kind in (PlaceKind.RACK, PlaceKind.TUB):
        words = _("Sets come in to %(place)s now.") % {"place": opened.place.name}
        return Verdict("open", opened.place.name, reason=words, short=_("in to here"), mark="tick"), opened.place
    if opened.place is not None:
        states = sets_in(opened.place)
        words = ngettext("Bring %(count)d set in", "Bring %(count)d sets in", len(states)) % {"count": len(states)}
        return list_verdicts.of_place(opened.place, states, url, {}, words), place
    if opened.outing is not None:
        states = sets_of_outing(opened.outing)
        words = ngettext("%(count)d set is out with it.", "%(count)d sets are out with it.", len(states))
        return Verdict("open", opened.outing.name, reason=words % {"count": len(states)}, mark="ask"), place
    if opened.blank:
        return verdicts.blank(opened.code, url), place
    if opened.several:
        hidden = {"place": str(place.pk)} if place is not None else {}
        return verdicts.which(opened.text, verdicts.states_of(opened), url, hidden), place
    if opened.tool_set is None:
        return verdicts.unknown(opened.sentence, opened.text), place
    sure = scan.do == "take_back"
    return _one_in(who, person, opened.tool_set, place, now, sure=sure), place


def _one_in(who: Who, person: Person, tool_set: ToolSet, place: Place | None, now: datetime, *, sure: bool) -> Verdict:
    branch = person.branch
    home_id, home_peg = custody.home_pegs([tool_set.pk]).get(tool_set.pk, (None, ""))
    home = Place.objects.filter(pk=home_id, branch=branch, active=True).first() if home_id else None
    target = place or home or _only_rack(branch)
    if target is None:
        (state,) = states_with_types([tool_set.pk])
        missing = Refused(
            _("Nobody has said where it comes in to."), _("Scan the rack's label, or choose a place above.")
        )
        return verdicts.refused(missing, state, person, now)
    peg = home_peg if target.pk == home_id else ""
    try:
        recorded = custody.scan_in(who, branch, tool_set, target, now=now, peg=peg, ask=not sure)
    except custody.StillToLeave as refusal:
        (state,) = states_with_types([tool_set.pk])
        return verdicts.take_back(refusal, state, target, place)
    except Refused as refusal:
        (state,) = states_with_types([tool_set.pk])
        return verdicts.refused(refusal, state, person, now)
    (state,) = states_with_types([tool_set.pk])
    kinds = {entry.kind for entry in recorded.entries}
    face = verdicts.face_of(state, branch, None, lives_of([tool_set], branch, now).get(tool_set.pk))
    tub = target.name if target.kind == PlaceKind.TUB else ""
    return verdicts.taken_in(state, where_of(state), face, "found" in kinds, tub=tub)


def _many_in(who: Who, branch: Branch, place: Place | None, scan: Scan, now: datetime) -> Verdict:
    states = {state.pk: state for state in states_by_ids(scan.set_ids, branch)}
    hung = custody.home_pegs(states)
    racks = {one.pk: one for one in places_for(branch, [PlaceKind.RACK])}
    homes = {} if place else {pk: (racks[home], peg) for pk, (home, peg) in hung.items() if home in racks}
    target = place or _only_rack(branch) or (next(iter(homes.values()))[0] if len(homes) == len(states) > 0 else None)
    if target is None:
        words = _("Nobody has said where they come in to. Scan the rack's label, or choose a place above.")
        return verdicts.unknown(words, "")
    pegs = {pk: peg for pk, (home, peg) in hung.items() if home == target.pk}
    sets = [state.tool_set for state in states.values()]
    ask = scan.do != "take_back"
    done = custody.scan_in_many(who, branch, sets, target, now=now, pegs=pegs, homes=homes, ask=ask)
    return list_verdicts.many_in(done, states, target, place)


def _only_rack(branch: Branch) -> Place | None:
    racks = places_for(branch, [PlaceKind.RACK])
    return racks[0] if len(racks) == 1 else None


def _opened(scan: Scan, branch: Branch) -> Opened:
    """What was scanned, or the one set a button names."""
    if scan.set_ids:
        named = ToolSet.objects.filter(pk=scan.set_ids[0], state__branch=branch).select_related("tool_type").first()
        if named is not None:
            return Opened("", tool_set=named)
    return open_text(scan.text, branch)


def _carried_in(branch: Branch, place_id: UUID | None) -> Place | None:
    if place_id is None:
        return None
    return Place.objects.filter(pk=place_id, branch=branch, kind__in=(PlaceKind.VAN, PlaceKind.BUCKET)).first()


def carry_for(tool_set: ToolSet, carry: Place | None) -> Place | None:
    """What a set travels in: one that needs no water goes in the van even when the others hang in a bucket."""
    if carry is not None and carry.kind == PlaceKind.BUCKET and tool_set.tool_type.soak_need == SoakNeed.NONE:
        return None
    return carry


def _other_outing(outing: Outing) -> Verdict:
    url = reverse("inventory:scan_out", args=[outing.pk])
    action = {
        "label": _("Scan out to %(outing)s") % {"outing": outing.name},
        "url": url,
        "method": "get",
        "kind": "fill",
    }
    return Verdict(
        "open", outing.name, reason=_("Another outing."), actions=[action], mark="ask", short=_("another outing")
    )


def keep_line(
    request: HttpRequest, key: str, verdict: Verdict, person: Person, now: datetime, act_id: str, given: Scan
) -> None:
    """Keep a scan's line for the page's list, the newest first; the list of another page makes room for it.

    given: the scan; its ``asked`` is the code of an open line that it answers: that line goes. A line that stays open
    keeps what was scanned, so that its question can be opened again.
    """
    # A tub, a van or another outing goes by its name: it has no code.
    code = verdict.code or (verdict.word if verdict.kind == "open" else "")
    kept = request.session.get("scans", {}).get(key, [])
    line = {
        "grit": verdict.grit,
        "code": code,
        "word": verdict.short,
        "again": (given.text or verdict.code)[:200] if verdict.stays_open else "",
        "mark": verdict.mark,
        "kind": verdict.kind,
        "open": verdict.stays_open,
        "at": show_time(now, person.branch, clock_24h=person.clock_24h),
        "act": act_id if verdict.wrote else "",
        "counts": verdict.counts,
    }
    answered = {code, given.asked} - {""}
    older = [one for one in kept if not (one["open"] and one["code"] in answered)]
    request.session["scans"] = {key: [line, *older][:_KEPT]}


def drop_line(request: HttpRequest, act_id: str) -> None:
    """Mark the line of an undone act."""
    kept = request.session.get("scans", {})
    for lines in kept.values():
        for line in lines:
            if line["act"] == act_id:
                line.update(act="", word=_("undone"), mark="cross", kind="undone")
    request.session["scans"] = kept


# What may be answered of sets that stay out, the likeliest first; "came_back" is answered by scanning.
ANSWERS = (
    ("in_water", _lazy("Still on site, in water"), _lazy("They stay wet until they are lifted out.")),
    ("dry", _lazy("Still on site, left dry"), _lazy("Their dry-out runs since they last were wet.")),
    ("in_van", _lazy("In the van"), _lazy("Out of water, still on this outing.")),
    ("lost", _lazy("Lost"), _lazy("They go missing, last seen with this crew.")),
)


def where_context(branch: Branch, device: Device, now: datetime) -> dict[str, Any]:
    """The end of scanning in: per outing how many are back, which are asked about, what was said of the others."""
    words = {how: str(label) for how, label, _detail in ANSWERS} | {
        "wet": _("Came back wet"),
        "unknown": _("Not known"),
    }
    groups = []
    for group in came_back(branch, device, now):
        said = [
            f"{_joined([state.tool_set.tool_type.grit for state in states])}: {words.get(how, how)}"
            for how, states in group.said
        ]
        groups.append(
            {
                "outing": group.outing,
                "back": group.back,
                "total": group.total,
                "asked": group.asked,
                "asked_ids": group.asked_ids,
                "asked_words": _joined(group.grits),
                "said_words": said,
            }
        )
    answers = [{"value": how, "label": label, "detail": detail} for how, label, detail in ANSWERS]
    return {"groups": groups, "asks": any(g["asked"] for g in groups), "answers": answers, "act_id": uuid4()}


def _joined(words: list[str]) -> str:
    """ "100 and 200"; "50, 100 and 200"."""
    if len(words) < 2:
        return "".join(words)
    return _("%(some)s and %(last)s") % {"some": ", ".join(words[:-1]), "last": words[-1]}
