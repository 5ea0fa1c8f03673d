"""What can be done with one set from its page: who may, the question, the form, what is told, the action."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any, NamedTuple

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from inventory.actions import custody, fitness, soak
from inventory.actions.dressing import dress
from inventory.actions.gate import name_of, where_of
from inventory.actions.label import label_set
from inventory.actions.ledger import Who
from inventory.actions.measure import measure
from inventory.actions.photos import check_room, keep_photos
from inventory.actions.pieces import change_pieces, join_sets
from inventory.forms.piece_forms import DressForm, JoinForm, PiecesForm
from inventory.forms.set_forms import (
    ClearForm,
    MeasureForm,
    PlaceForm,
    RetireForm,
    TroubleForm,
    WhyForm,
    height_text,
)
from inventory.forms.shop_form import ShopForm
from inventory.models import Person, SetState, ToolSet
from inventory.models.choices import Face, PlaceKind
from inventory.pieces_words import face_words, part_load_words, pieces_of, remnant_words
from inventory.queries.joining import donors
from inventory.queries.photos import dressing_cost
from inventory.rights import Right
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
    shown = {} if each else {"height": height_text(state.lowest_height_mm, person.units)}
    tool_type = state.tool_set.tool_type
    return MeasureForm(
        sent.data, person=person, tool_type=tool_type, pieces=pieces_of(state, tool_type), each=each, initial=shown
    )


def _join_form(sent: Sent, person: Person, state: SetState) -> ShopForm:
    others = [(str(one.pk), _donor_words(one, person)) for one in donors(state)]
    return JoinForm(sent.data, person=person, tool_set=state.tool_set, others=others)


def _donor_words(state: SetState, person: Person) -> str:
    """ "GL-7K2M46, 2 of 3 pieces, 6.8 mm, Rack B, peg 4"."""
    tool_type = state.tool_set.tool_type
    pieces = _("%(pieces)d of %(whole)d pieces") % {
        "pieces": pieces_of(state, tool_type),
        "whole": tool_type.pieces_per_set,
    }
    height = show_height(state.lowest_height_mm, person.units) if state.lowest_height_mm is not None else ""  # type: ignore[arg-type]
    fit = "" if state.fitness == "usable" else str(state.get_fitness_display())
    return ", ".join(part for part in (name_of(state), pieces, height, fit, where_of(state)) if part)


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
    check_room(tool_set, given["photos"])
    done = fitness.report_trouble(who, person.branch, tool_set, given["trouble"], now=who.sent_at, note=given["note"])
    keep_photos(person, tool_set, given["photos"], now=who.sent_at, act=done.act)
    return done


def _do_retire(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    given = form.cleaned_data
    check_room(tool_set, given["photos"])
    done = fitness.retire(
        who,
        person.branch,
        tool_set,
        given["retired_why"],
        now=who.sent_at,
        heights=form.heights(),
        note=given["note"],
    )
    keep_photos(person, tool_set, given["photos"], now=who.sent_at, act=done.act)
    return done


def _pieces_told(person: Person, state: SetState) -> list[str]:
    tool_type = state.tool_set.tool_type
    pieces = pieces_of(state, tool_type)
    has = ngettext(
        "It has %(pieces)d of %(whole)d piece.", "It has %(pieces)d of %(whole)d pieces.", tool_type.pieces_per_set
    )
    words = [has % {"pieces": pieces, "whole": tool_type.pieces_per_set}, part_load_words(state)]
    if state.lowest_height_mm is not None:
        height = show_height(state.lowest_height_mm, person.units)  # type: ignore[arg-type]
        words.append(_("Its lowest piece was last read at %(height)s.") % {"height": height})
    return [one for one in words if one]


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
        return [face, _("What dressing costs this type in height is not known yet: measure before and after.")]
    cost = ngettext(
        "Dressing %(type)s took %(height)s of height, seen once.",
        "Dressing %(type)s took %(height)s of height on average, seen %(count)d times.",
        count,
    )
    height = show_height(mean_mm, person.units)  # type: ignore[arg-type]
    return [face, cost % {"type": tool_type.name, "height": height, "count": count}]


def _measure_told(person: Person, state: SetState) -> list[str]:
    return [one for one in (remnant_words(state) and f"{remnant_words(state)}.", face_words(state)) if one]


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
        lambda sent, person, state: DressForm(
            sent.data, person=person, tool_set=state.tool_set, before_mm=state.lowest_height_mm
        ),
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
