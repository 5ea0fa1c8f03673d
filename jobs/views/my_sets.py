"""Sets on My job in words: enough or not, who goes first, and what to do about trouble."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.actions.gate import name_of
from inventory.models import Person, SetState
from inventory.models.choices import SoakNeed
from inventory.shop_settings import settings_of
from inventory.soak_words import soak_words
from inventory.templatetags.gritledger import sure_words
from inventory.times import zone_of
from jobs.numerics.enough import enough
from jobs.queries.my_job import SetNow
from jobs.views.faces import set_face

# What to do next; the maker's sheet comes first.
ADVICE = {
    "glazed": gettext_lazy("It stops cutting: dress it as its maker says, or change to another set."),
    "ran_dry": gettext_lazy("Stop and wet it. Look whether it is glazed before it goes on."),
    "chipped": gettext_lazy("Take it off the floor; the shop manager looks at it."),
    "lost": gettext_lazy("The shop looks for it. Go on with another set."),
}
# By SetNow.trouble: the state of inventory.gauge.STATES and the advice.
_LOOKS = {"aside": ("aside", "chipped"), "glazed": ("glazed", "glazed"), "ran_dry": ("dry", "ran_dry")}


def set_words(one: SetNow, person: Person, places: dict[int, tuple[int, int]], now: datetime) -> dict[str, Any]:
    """A set as My job shows it: gauge, code, water, trouble with what to do, or whether it is enough."""
    water = soak_words(one.conditioning, person.branch, now, units=person.units, clock_24h=person.clock_24h)
    settings = settings_of(person.branch, today=now.astimezone(zone_of(person.branch)).date())
    said, word, trouble = "", "", None
    if one.trouble:
        state, advice = _LOOKS[one.trouble]
        trouble = {"state": state, "words": _trouble_words(one), "advice": ADVICE[advice]}
    elif one.chance is not None:
        word = enough(one.chance, settings["finish_limit"], settings["tight_limit"]).word
        said = _enough_words(one, word)
    face = set_face(
        one.state,
        places,
        conditioning=one.conditioning,
        life=one.life,
        need_m2=one.needs_m2,
        enough=word,
        words=str(trouble["words"]) if trouble else water.line,
    )
    turns = {1: _("Goes first"), 2: _("Goes second")}
    return {
        "state": one.state,
        "face": face,
        "water": water,
        "soaks": one.state.tool_set.tool_type.soak_need != SoakNeed.NONE,
        "trouble": trouble,
        "turn": turns.get(one.turn, "") if not one.trouble else "",
        "enough": said,
        "word": word,
    }


def lost_words(states: Iterable[SetState]) -> list[dict[str, Any]]:
    """Sets that went missing on the shift, each with what to do."""
    return [{"name": name_of(state), "words": _("Missing"), "advice": ADVICE["lost"]} for state in states]


def _trouble_words(one: SetNow) -> str:
    if one.trouble == "aside":
        why = one.state.fitness_why or _("no reason given")
        return _("Set aside: %(why)s") % {"why": why}
    return {"glazed": _("Glazed"), "ran_dry": _("Ran dry")}[one.trouble]


def _enough_words(one: SetNow, word: str) -> str:
    """Enough for tonight: alone, or the two that go together."""
    assert one.chance is not None
    sure = sure_words(one.chance)
    if one.other is not None:
        words = {
            "yes": _("Enough for tonight with %(other)s: yes, %(sure)s"),
            "tight": _("Enough for tonight with %(other)s: tight, %(sure)s"),
        }
        no = _("Enough for tonight with %(other)s: no, %(sure)s")
        return words.get(word, no) % {"other": name_of(one.other), "sure": sure}
    alone = {"yes": _("Enough for tonight: yes, %(sure)s"), "tight": _("Enough for tonight: tight, %(sure)s")}
    return alone.get(word, _("Enough for tonight: no, %(sure)s")) % {"sure": sure}
