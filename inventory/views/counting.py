"""What the pages of a count show, and what one scan or answer there does. Doors: ``count``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.count import COUNTABLE, answer_seen, count_seen
from inventory.actions.gate import holder_of, name_of, where_of
from inventory.actions.ledger import Who
from inventory.actions.undo import undo
from inventory.estimate import SetLife
from inventory.gauge import GaugeFace
from inventory.models import Act, Count, Person, SetState, ToolSet
from inventory.models.choices import PlaceKind, SoakNeed
from inventory.queries.catalogue import ladder
from inventory.queries.count import CountPicture, Stranger, count_picture, finish_act, held_of, places_to_count
from inventory.queries.custody import states_by_ids
from inventory.queries.finishing import lives_of
from inventory.queries.measuring import worth_measuring
from inventory.queries.opening import open_text
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for
from inventory.views import measuring, verdicts
from inventory.views.photo import PhotoNotRead, read_photo
from inventory.views.scanning import as_uuid

# So many sets still to be found are named one by one beside the pegs; before that the pegs say it.
_NAMED = 6
# Sets without a label are ticked by hand; more than these wait folded, so that the pegs stay in sight.
_BARE_OPEN = 8
_MEASURED = 2


@dataclass(frozen=True)
class Asked:
    """What a press or a scan on the page of a count asks for."""

    do: str = ""
    text: str = ""
    set_id: UUID | None = None
    act_id: UUID | None = None
    photo_sentence: str = ""

    @classmethod
    def of(cls, request: HttpRequest) -> Asked:
        """Read it from a posted form; a photo is read here."""
        post, photo, text, sentence = request.POST, request.FILES.get("photo"), request.POST.get("code", ""), ""
        if photo is not None and hasattr(photo, "size"):
            try:
                text = read_photo(photo)
            except PhotoNotRead as problem:
                sentence = str(problem)
        return cls(
            post.get("do", ""),
            text[:2000],
            as_uuid(post.get("set", "")),
            as_uuid(post.get("act", "")),
            sentence,
        )


@dataclass(frozen=True)
class Last:
    """What the last scan or answer came to. kind: taken, refused, elsewhere or open; act: what Undo voids.

    which: a button for each of several sets that go by one own code.
    """

    kind: str
    word: str
    code: str = ""
    detail: str = ""
    act: UUID | None = None
    which: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class Peg:
    """One set of the place as the page draws it."""

    state: SetState
    face: GaugeFace | None
    seen: bool
    peg: str
    words: str


@dataclass(frozen=True)
class Question:
    """A set seen here that the ledger has elsewhere, and its answers."""

    state: SetState
    title: str
    detail: str
    yes: str
    answer: str = ""
    act: UUID | None = None
    entry: UUID | None = None
    words: list[str] = field(default_factory=list)


def ids(request: HttpRequest, name: str) -> list[UUID]:
    """The set ids of ticked boxes."""
    return [found for part in request.POST.getlist(name)[:2000] if (found := as_uuid(part)) is not None]


def do(who: Who, person: Person, count: Count, asked: Asked, now: datetime) -> Last:
    """Do what one scan or press asks for and say what came of it."""
    branch = person.branch
    try:
        if asked.do == "undo":
            acts = Act.objects.filter(branch=branch, entries__count=count)
            act = acts.filter(pk=asked.act_id).first() if asked.act_id is not None else None
            if act is None:
                return Last("refused", _("Nothing to undo"), detail=_("Scan on."))
            undo(who, branch, act, "", now=now)
            return Last("open", _("Undone"), detail=_("It is one to look for again."))
        if asked.set_id is not None:
            states = states_by_ids([asked.set_id], branch)
            if not states:
                return Last("refused", _("Unknown"), detail=_("That set is not this shop's. Open the count again."))
            return _about(who, person, count, states[0], asked, now)
        if asked.photo_sentence:
            return Last("refused", _("Not read"), detail=asked.photo_sentence)
        opened = open_text(asked.text, branch)
        if opened.several:
            states, url = verdicts.states_of(opened), _url(count)
            which = verdicts.which(opened.text, states, url, {})
            actions = verdicts.which_actions(states, url, {})
            return Last("open", which.word, which.code, f"{which.reason} {which.then}", which=actions)
        if opened.tool_set is None:
            word = _("Blank label") if opened.blank else _("Not a set") if opened.label is not None else _("Unknown")
            sentence = opened.sentence or _("Only sets are counted here. Scan the set's own label.")
            return Last("refused", word, opened.code[:24], sentence)
        return _scan(who, person, count, opened.tool_set, now)
    except Refused as refusal:
        return Last("refused", _("Refused"), detail=refusal.sentence)


def _url(count: Count) -> str:
    return reverse("inventory:count", args=[count.pk])


def _scan(who: Who, person: Person, count: Count, tool_set: ToolSet, now: datetime) -> Last:
    done = count_seen(who, person.branch, count, tool_set, now=now)
    state = done.before
    act = done.recorded.act.pk if done.recorded is not None else None
    kind = state.tool_set.tool_type.name
    code = name_of(state)
    if done.how == "again":
        return Last("taken", _("Counted before"), code, kind)
    if done.how == "stranger":
        return Last("elsewhere", _("Too many"), code, f"{kind}. {_said(state)}", act)
    peg = _("peg %(peg)s, %(type)s, as the ledger says") % {"peg": state.peg, "type": kind}
    return Last(
        "taken", _("Counted"), code, peg if state.peg else _("%(type)s, as the ledger says") % {"type": kind}, act
    )


def _about(who: Who, person: Person, count: Count, state: SetState, asked: Asked, now: datetime) -> Last:
    """A press about one set: it is here, it came back, leave it out."""
    tool_set, branch = state.tool_set, person.branch
    code = name_of(state)
    if asked.do in ("here", "leave"):
        answer_seen(who, branch, count, tool_set, is_here=asked.do == "here", now=now)
        words = _("it is here now") if asked.do == "here" else _("left where the ledger has it")
        if asked.do == "here" and _wets(state, count):
            words = _("it is here, in water from now on")
        return Last("taken", _("Answered"), code, words)
    return _scan(who, person, count, tool_set, now)


def list_context(person: Person, now: datetime) -> dict[str, Any]:
    """Places to count, with when each was counted last."""
    rows = []
    for row in places_to_count(person.branch, COUNTABLE):
        words = _("never counted")
        if row.counted_at is not None:
            words = _("counted %(when)s") % {"when": when_for(person, row.counted_at, now)}
        rows.append({"place": row.place, "sets": row.sets, "words": words, "open": row.open})
    never = sum(row["words"] == _("never counted") and bool(row["sets"]) for row in rows)
    found = [row for row in rows if row["open"]]
    return {"rows": rows, "never": never, "open": found, "may_add": person.can(Right.RUN_SHOP)}


def page_context(person: Person, count: Count, now: datetime, session: SessionBase) -> dict[str, Any]:
    """The count as it stands; about twenty queries for any number of sets. session: keeps what was put off."""
    picture = count_picture(count)
    branch, place = person.branch, count.place.name
    states = [one.state for one in picture.looked] + [one.state for one in picture.strangers]
    rungs = ladder(branch)
    lives = lives_of([state.tool_set for state in states], branch, now)
    url = _url(count)
    worths = worth_measuring(picture.seen, branch, now).values()
    unseen, total = picture.unseen, len(picture.looked)
    bare = [state for state in unseen if not state.code]
    measures = measuring.asks(worths, person, session, url, _MEASURED)
    minutes = max(1, round((now - count.begun_at) / timedelta(minutes=1)))
    return {
        "count": count,
        "headline": _headline(picture, place),
        "under": ngettext(
            "%(seen)s of %(total)s found in %(minutes)s minute.",
            "%(seen)s of %(total)s found in %(minutes)s minutes.",
            minutes,
        )
        % {"seen": total - len(unseen), "total": total, "minutes": minutes},
        "pegs": [
            Peg(
                one.state,
                _face(one.state, rungs, lives, seen=one.seen),
                one.seen,
                one.state.peg,
                _("counted") if one.seen else _("to look for"),
            )
            for one in picture.looked
        ],
        "strangers": [
            Peg(one.state, _face(one.state, rungs, lives, seen=True), True, "", _("too many"))
            for one in picture.strangers
        ],
        "out": _out_words(picture.out),
        "few": 0 < len(unseen) <= _NAMED,
        "unseen": [_unseen(state, person, now) for state in unseen if state.code] if len(unseen) <= _NAMED else [],
        "bare": [_unseen(state, person, now) for state in bare],
        "bare_open": len(bare) <= _BARE_OPEN,
        "questions": [question(one, count, person, now) for one in picture.waiting],
        "answered": [question(one, count, person, now) for one in picture.strangers if one.held.answer],
        "lost": [_unseen(state, person, now) for state in picture.lost[:_NAMED]],
        "measures": measures,
        "may": {"scan": person.can(Right.SCAN), "count": person.can(Right.COUNT)},
        "done": total - len(unseen),
        "side": bool(picture.strangers or picture.lost) or 0 < len(unseen) <= _NAMED or bool(measures or bare),
        "url": url,
        "ladder_count": max((n for _place, n in rungs.values()), default=0),
    }


def _out_words(states: tuple[SetState, ...]) -> list[str]:
    """Who has the sets that are not looked for: "2 sets are out: Dag P., Van 3"."""
    by_holder: dict[str, int] = {}
    for state in states:
        by_holder[holder_of(state)] = by_holder.get(holder_of(state), 0) + 1
    words = [
        ngettext("%(n)s set of it is out: %(holder)s", "%(n)s sets of it are out: %(holder)s", count)
        % {"n": count, "holder": holder}
        for holder, count in by_holder.items()
    ]
    return [line if line.endswith(".") else f"{line}." for line in words]


def _headline(picture: CountPicture, place: str) -> str:
    left, many, total = len(picture.unseen), len(picture.waiting), len(picture.looked)
    if left and left == total and not many:
        words = ngettext("Look for %(n)s set in %(place)s", "Look for %(n)s sets in %(place)s", left)
        return words % {"n": left, "place": place}
    parts = []
    if left:
        parts.append(ngettext("%(n)s to look for", "%(n)s to look for", left) % {"n": left})
    if many:
        parts.append(ngettext("%(n)s too many", "%(n)s too many", many) % {"n": many})
    if parts:
        return _("%(place)s: %(differences)s") % {"place": place, "differences": ", ".join(parts)}
    if not total:
        return _("%(place)s: no set by the ledger") % {"place": place}
    words = ngettext("%(place)s: %(n)s set, as the ledger says", "%(place)s: all %(n)s sets are here", total)
    return words % {"place": place, "n": total}


def _face(
    state: SetState, rungs: dict[int, tuple[int, int]], lives: dict[UUID, SetLife], *, seen: bool
) -> GaugeFace | None:
    place, ladder_count = rungs.get(state.tool_set.tool_type_id, (0, 0))
    if ladder_count == 0:
        return None
    life = lives.get(state.pk)
    low, mid, high = life.shares if life is not None else (1.0, 1.0, 1.0)
    bond: Any = state.tool_set.tool_type.bond
    where: Any = ("aside" if state.fitness != "usable" else "here") if seen else "missing"
    return GaugeFace(place, ladder_count, bond, low, mid, high, where=where, plain=life is None)


def _said(state: SetState) -> str:
    """Where the ledger has a set: "said to be in Van 2, out: Osprey Lane"."""
    if state.outing is not None:
        return _("Said to be out: %(holder)s.") % {"holder": holder_of(state)}
    where = where_of(state)
    return _("Said to be in %(place)s.") % {"place": where} if where else _("Nobody knew where it was.")


def _wets(state: SetState, count: Count) -> bool:
    """Whether to be here is to lie in water: in a tub, for a type that asks for it."""
    return count.place.kind == PlaceKind.TUB and state.tool_set.tool_type.soak_need != SoakNeed.NONE


def question(one: Stranger, count: Count, person: Person, now: datetime) -> Question:
    """A stranger as a question: what the ledger says, and the answers."""
    state = one.state
    title = _("%(type)s is too many") % {"type": state.tool_set.tool_type.name}
    since = state.facts.get("out_since") or state.facts.get("place_since")
    detail = [name_of(state) + ".", _said(state)]
    if one.held.answer == "accept":
        detail = [name_of(state) + ".", _("%(name)s: it is here now.") % {"name": one.held.answered_by}]
    elif one.held.answer:
        detail = [
            name_of(state) + ".",
            _("%(name)s: left where the ledger has it.") % {"name": one.held.answered_by},
        ]
    elif since:
        detail.append(_("Since %(when)s.") % {"when": when_for(person, datetime.fromisoformat(since), now)})
    if one.held.answer != "leave_out" and _wets(state, count):
        said = _("Here, it counts as in water from the answer on; if it went in earlier, correct that on its card.")
        if one.held.answer:
            said = _("In water since then; if it went in earlier, correct that on its card.")
        detail.append(said)
    yes = _("It came back") if state.outing_id is not None else _("It is here")
    return Question(state, title, " ".join(detail), yes, one.held.answer, one.held.act_id, one.held.entry_id)


def _unseen(state: SetState, person: Person, now: datetime) -> dict[str, Any]:
    """A set nobody has seen yet: where it should hang, and when it was last seen."""
    seen_at = state.facts.get("seen_at")
    kind = state.tool_set.tool_type.name
    return {
        "state": state,
        "title": _("Peg %(peg)s, %(type)s") % {"peg": state.peg, "type": kind} if state.peg else kind,
        "code": name_of(state),
        "bare": not state.code,
        "seen": when_for(person, datetime.fromisoformat(seen_at), now) if seen_at else "",
    }


def finish_context(person: Person, picture: CountPicture, now: datetime) -> dict[str, Any]:
    """The differences to approve, each with what approving it does."""
    missing = [_unseen(state, person, now) for state in picture.unseen]
    here = [question(one, picture.count, person, now) for one in picture.waiting]
    count = len(missing) + len(here)
    place = picture.count.place.name
    words = ngettext("%(n)s difference to approve in %(place)s", "%(n)s differences to approve in %(place)s", count)
    return {
        "count": picture.count,
        "headline": words % {"n": count, "place": place}
        if count
        else _("%(place)s is as the ledger says") % {"place": place},
        "missing": missing,
        "bare": any(one["bare"] for one in missing),
        "here": here,
        "seen": len(picture.seen),
        "begun": when_for(person, picture.count.begun_at, now),
    }


def done_context(person: Person, count: Count, now: datetime) -> dict[str, Any]:
    """What an ended count changed; eleven queries for any number of sets."""
    act = finish_act(count)
    entries = list(act.entries.order_by("line_no")) if act is not None else []
    voided = act is not None and Act.objects.filter(entries__void_target__in=[entry.pk for entry in entries]).exists()
    missing_ids = [entry.tool_set_id for entry in entries if entry.kind == "counted"]
    # What was answered while the count ran changed as much as what was approved at its end.
    answers = [(held.tool_set.pk, held.answer) for held in held_of(count)]
    here_ids = [pk for pk, answer in answers if answer == "accept"]
    left_ids = [pk for pk, answer in answers if answer == "leave_out"]
    states = {state.pk: state for state in states_with_types(pk for pk in (*missing_ids, *here_ids, *left_ids) if pk)}

    def lines(found: Sequence[UUID | None]) -> list[SetState]:
        return [states[pk] for pk in found if pk in states]

    missing, here, left = lines(missing_ids), lines(here_ids), lines(left_ids)
    parts = []
    if missing:
        parts.append(ngettext("%(n)s missing", "%(n)s missing", len(missing)) % {"n": len(missing)})
    if here:
        parts.append(ngettext("%(n)s here after all", "%(n)s here after all", len(here)) % {"n": len(here)})
    values = {"place": count.place.name, "differences": ", ".join(parts)}
    assert count.ended_at is not None
    return {
        "count": count,
        "headline": (_("%(place)s counted: %(differences)s") if parts else _("%(place)s counted: nothing changed"))
        % values,
        "ended": when_for(person, count.ended_at, now),
        "missing": missing,
        "here": here,
        "left": left,
        "changed": bool(entries) and not voided,
        "may_undo": person.can(Right.COUNT),
    }


def moved_words(count: int) -> str:
    """Some sets named as missing had been seen or moved meanwhile."""
    words = ngettext(
        "%(n)s set was seen or moved meanwhile and is left alone.",
        "%(n)s sets were seen or moved meanwhile and are left alone.",
        count,
    )
    return words % {"n": count}
