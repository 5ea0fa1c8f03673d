"""What can be done with one set from its page: who may, the question, the form, what is told, the action."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, datetime
from typing import Any, NamedTuple

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from inventory.actions import custody, fitness, soak
from inventory.actions.dressing import dress
from inventory.actions.gate import name_of, where_of
from inventory.actions.label import label_set
from inventory.actions.ledger import Recorded, Who
from inventory.actions.measure import measure
from inventory.actions.photos import with_photos
from inventory.actions.pieces import change_pieces, join_sets
from inventory.forms.piece_forms import DressForm, JoinForm, PiecesForm
from inventory.forms.set_forms import (
    ClearForm,
    MeasureForm,
    PlaceForm,
    RetireForm,
    TroubleForm,
    WhyForm,
)
from inventory.forms.shop_form import ShopForm
from inventory.height_now import HeightNow, height_sentence, height_words, heights_now, last_reading
from inventory.models import Person, SetState, ToolSet
from inventory.models.choices import Face, PlaceKind
from inventory.pieces_words import face_words, part_load_words, pieces_of, remnant_words
from inventory.queries.joining import donors
from inventory.queries.photos import dressing_cost
from inventory.rights import Right
from inventory.times import zone_of
from inventory.units import show_height


class Sent(NamedTuple):
    """What came with the request: the posted form and files (None for a first look), and the address's own words."""

    data: Any
    files: Any
    query: Any


Told = Callable[[Person, SetState], list[str]]


class SetAct(NamedTuple):
    """One thing to do with a set: who may, its question, its button, its form and its action.

    told: sentences above the form. across: fields side by side. photos: kept with the act.
    """

    right: str
    question: Any
    submit: Any
    form: Callable[[Sent, Person, SetState], ShopForm]
    act: Callable[[Who, Person, ToolSet, Any], Any]
    told: Told = lambda person, state: []


def _place_form(sent: Sent, person: Person, state: SetState) -> ShopForm:
    return PlaceForm(sent.data, person=person, initial={"place": state.place_id, "peg": state.peg})


def _measure_form(sent: Sent, person: Person, state: SetState) -> ShopForm:
    each = bool(sent.query.get("each"))
    tool_type = state.tool_set.tool_type
    # Never filled in: one stray tap would store an old height as today's. What was read stands above the form.
    return MeasureForm(sent.data, person=person, tool_type=tool_type, pieces=pieces_of(state, tool_type), each=each)


def _dress_form(sent: Sent, person: Person, state: SetState) -> ShopForm:
    """The height before is filled in only where it was read today and nothing was worked since."""
    at, worked = last_reading(state.wear)
    today = at is not None and not worked and _day(at, person) == _day(timezone.now(), person)
    before = state.lowest_height_mm if today else None
    return DressForm(sent.data, person=person, tool_set=state.tool_set, before_mm=before)


def _day(at: datetime, person: Person) -> date:
    return at.astimezone(zone_of(person.branch)).date()


def _join_form(sent: Sent, person: Person, state: SetState) -> ShopForm:
    others = [
        (str(one.pk), _donor_words(one, height, person)) for one, height in donors(state, person.branch, timezone.now())
    ]
    return JoinForm(sent.data, person=person, tool_set=state.tool_set, others=others)


def _donor_words(state: SetState, height: HeightNow | None, person: Person) -> str:
    """ "GL-7K2M46, 2 of 3 pieces, 6.8 mm read 12 Apr, likely 3.6 mm today, Rack B, peg 4"."""
    tool_type = state.tool_set.tool_type
    pieces = _("%(pieces)d of %(whole)d pieces") % {
        "pieces": pieces_of(state, tool_type),
        "whole": tool_type.pieces_per_set,
    }
    words = height_words(height, person, _day(timezone.now(), person))
    read = ""
    if words:
        read = _("%(read)s read %(day)s") % words if words["day"] else words["read"]
    likely = _("likely %(likely)s today") % words if "likely" in words else ""
    fit = "" if state.fitness == "usable" else str(state.get_fitness_display())
    return ", ".join(part for part in (name_of(state), pieces, read, likely, fit, where_of(state)) if part)


def _do_measure(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    return measure(who, person.branch, tool_set, form.heights(), now=who.sent_at)


def _do_found(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    given = form.cleaned_data
    return custody.found(who, person.branch, tool_set, given["place"], now=who.sent_at, peg=given["peg"])


def _do_move(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    """Into a tub it is put to soak, with the tub's room looked at; anywhere else it is moved."""
    given = form.cleaned_data
    if given["place"].kind == PlaceKind.TUB:
        return soak.put_in(who, person.branch, [tool_set], given["place"], now=who.sent_at, peg=given["peg"])
    return custody.move(who, person.branch, tool_set, given["place"], now=who.sent_at, peg=given["peg"])


def _do_label(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    return label_set(who, person.branch, tool_set, now=who.sent_at, rng=random.SystemRandom())


def _do_trouble(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    given = form.cleaned_data
    now, said = who.sent_at, (given["trouble"], given["note"])

    def report() -> Recorded:
        return fitness.report_trouble(who, person.branch, tool_set, said[0], now=now, note=said[1])

    return with_photos(person, tool_set, given["photos"], report, now=now)


def _do_retire(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    given = form.cleaned_data
    now, why, note = who.sent_at, given["retired_why"], given["note"]

    def retire() -> Recorded:
        return fitness.retire(who, person.branch, tool_set, why, now=now, heights=form.heights(), note=note)

    return with_photos(person, tool_set, given["photos"], retire, now=now)


def _pieces_told(person: Person, state: SetState) -> list[str]:
    tool_type = state.tool_set.tool_type
    pieces = pieces_of(state, tool_type)
    has = ngettext(
        "It has %(pieces)d of %(whole)d piece.", "It has %(pieces)d of %(whole)d pieces.", tool_type.pieces_per_set
    )
    words = [has % {"pieces": pieces, "whole": tool_type.pieces_per_set}, part_load_words(state)]
    return [one for one in (*words, _last_read(person, state)) if one]


def _last_read(person: Person, state: SetState) -> str:
    now = timezone.now()
    return height_sentence(heights_now([state], person.branch, now).get(state.pk), person, _day(now, person))


def _change_told(person: Person, state: SetState) -> list[str]:
    part = _("Put in fewer than came out, and it runs as a remnant: write 0 for a part of a load run on purpose.")
    return [*_pieces_told(person, state), part]


def _dress_told(person: Person, state: SetState) -> list[str]:
    face = {
        Face.GLAZED: _("Its face is glazed."),
        Face.OPEN: _("Its face is open."),
    }.get(Face(state.face), _("How its face is, nobody has said."))  # fmt: skip
    tool_type = state.tool_set.tool_type
    count, mean_mm = dressing_cost(tool_type)
    if not count:
        cost = _("What dressing costs this type in height is not known yet: measure before and after.")
        return [one for one in (face, cost, _last_read(person, state)) if one]
    cost = ngettext(
        "Dressing %(type)s took %(height)s of height, seen once.",
        "Dressing %(type)s took %(height)s of height on average, seen %(count)d times.",
        count,
    )
    height = show_height(mean_mm, person.units)  # type: ignore[arg-type]
    cost %= {"type": tool_type.name, "height": height, "count": count}
    return [one for one in (face, cost, _last_read(person, state)) if one]


def _measure_told(person: Person, state: SetState) -> list[str]:
    remnant = remnant_words(state)
    return [one for one in (remnant and f"{remnant}.", face_words(state), _last_read(person, state)) if one]


ACTS: dict[str, SetAct] = {
    "measure": SetAct(
        Right.SCAN,
        _lazy("How high is what is left?"),
        _lazy("Keep the height"),
        _measure_form,
        _do_measure,
        _measure_told,
    ),
    "pieces": SetAct(
        Right.LOG_WORK,
        _lazy("Which pieces were changed?"),
        _lazy("Keep the change"),
        lambda sent, person, state: PiecesForm(sent.data, person=person, tool_set=state.tool_set),
        lambda who, person, tool_set, form: change_pieces(who, person.branch, tool_set, form.change(), now=who.sent_at),
        _change_told,
    ),
    "join": SetAct(
        Right.SETTLE,
        _lazy("Which pieces come into it?"),
        _lazy("Make one set of them"),
        _join_form,
        lambda who, person, tool_set, form: join_sets(
            who, person.branch, tool_set, form.cleaned_data["set"], form.joining(), now=who.sent_at
        ),
        _pieces_told,
    ),
    "dress": SetAct(
        Right.SCAN,
        _lazy("How was it dressed?"),
        _lazy("Keep the dressing"),
        _dress_form,
        lambda who, person, tool_set, form: dress(who, person.branch, tool_set, form.dressing(), now=who.sent_at),
        _dress_told,
    ),
    "set-aside": SetAct(
        Right.SCAN,
        _lazy("Why is it set aside?"),
        _lazy("Set it aside"),
        lambda sent, person, state: WhyForm(sent.data),
        lambda who, person, tool_set, form: fitness.set_aside(
            who, person.branch, tool_set, form.cleaned_data["why"], now=who.sent_at
        ),
    ),
    "clear": SetAct(
        Right.LOG_WORK,
        _lazy("Has somebody looked at it?"),
        _lazy("Clear it"),
        lambda sent, person, state: ClearForm(sent.data),
        lambda who, person, tool_set, form: fitness.clear(
            who, person.branch, tool_set, now=who.sent_at, why=form.cleaned_data["why"]
        ),
    ),
    "retire": SetAct(
        Right.SETTLE,
        _lazy("Why does it end?"),
        _lazy("Retire it"),
        lambda sent, person, state: RetireForm(sent.data, sent.files, person=person),
        _do_retire,
    ),
    "trouble": SetAct(
        Right.SCAN,
        _lazy("What happened to it?"),
        _lazy("Report it"),
        lambda sent, person, state: TroubleForm(sent.data, sent.files),
        _do_trouble,
    ),
    "move": SetAct(Right.SCAN, _lazy("Where does it go?"), _lazy("Put it there"), _place_form, _do_move),
    "found": SetAct(Right.SCAN, _lazy("Where is it?"), _lazy("It is here"), _place_form, _do_found),
    "confirm": SetAct(
        Right.CONFIRM_SOAK,
        _lazy("Is it wet through?"),
        _lazy("It is: confirm it"),
        lambda sent, person, state: ShopForm(sent.data),
        lambda who, person, tool_set, form: soak.confirm(who, person.branch, [tool_set], now=who.sent_at),
    ),
    "label": SetAct(
        Right.SCAN,
        _lazy("A new label for it?"),
        _lazy("Make a new label"),
        lambda sent, person, state: ShopForm(sent.data),
        _do_label,
    ),
}
