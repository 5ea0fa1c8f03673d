"""What the soak rules say, in the shop's words: one short line and, where it needs one, a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.ledger.conditioning import Conditioning
from inventory.models import Branch
from inventory.times import show_when
from inventory.units import show_hours, show_temperature

# By state of the rules: the key of inventory.gauge.STATES ("" says nothing) and the gauge's water.
GAUGE_STATES = {
    "not needed": "",
    "unknown need": "",
    "conditioned": "conditioned",
    "soaked, not confirmed": "soaked",
    "soaking": "soaking",
    "dry": "dry",
}


@dataclass(frozen=True)
class SoakWords:
    """state: a key of inventory.gauge.STATES, or "". line: "Conditioned until Thu 05:00". sentence: why, or ""."""

    state: str
    line: str
    sentence: str = ""


def soak_words(
    answer: Conditioning, branch: Branch, now: datetime, *, units: str = "us", clock_24h: bool = True
) -> SoakWords:
    """The words for one set's conditioning; times are shown at the branch, relative to ``now``."""

    def when(at: object) -> str:
        return show_when(at, now, branch, clock_24h=clock_24h) if isinstance(at, datetime) else ""

    values = answer.why.values
    state = GAUGE_STATES[answer.state]
    if answer.state == "not needed":
        return SoakWords(state, _("Needs no water"))
    if answer.state == "unknown need":
        return SoakWords(state, _("Soak need not known"), _("Nobody has said whether this type needs soaking."))
    if answer.state == "conditioned":
        if answer.until is None:
            return SoakWords(state, _("Conditioned, in water"))
        return SoakWords(state, _("Conditioned until %(when)s") % {"when": when(answer.until)})
    if answer.state == "soaked, not confirmed":
        sentence = _("Its hours are done since %(when)s. Nobody has confirmed it.") % {"when": when(answer.ready_at)}
        if answer.why.key == "confirmed_too_early":
            early = when(values.get("confirmed_at"))
            sentence = _("It was confirmed at %(early)s, before its hours were done at %(ready)s.") % {
                "early": early,
                "ready": when(answer.ready_at),
            }
        return SoakWords(state, _("Soaked, not confirmed"), sentence)
    if answer.state == "soaking":
        line = _("Soaking")
        if answer.expected_ready_at is not None:
            line = _("Soaking until %(when)s") % {"when": when(answer.expected_ready_at)}
        sentence = ""
        if answer.why.key == "cooled":
            temperature = values.get("temperature_c")
            sentence = _("Its water fell to %(temperature)s at %(when)s.") % {
                "temperature": show_temperature(float(str(temperature)), units),  # type: ignore[arg-type]
                "when": when(values.get("temperature_at")),
            }
        elif answer.why.key == "soaking_hot" and _lapsed(values.get("vouched_until"), now):
            sentence = _(
                "Its hot water was last vouched for until %(when)s: hot hours count again once it is read."
            ) % {"when": when(values.get("vouched_until"))}
        elif answer.why.key == "read_to_finish":
            sentence = _("Read the tub's water: a hot soak needs a reading at its end.")
        return SoakWords(state, line, sentence)
    needed = values.get("missing_hours_cold") or values.get("cold_hours")
    line = _("Dry")
    if isinstance(needed, int | float):
        line = _("Dry. Needs %(hours)s in water") % {"hours": show_hours(float(needed))}
    sentence = ""
    dried_at = values.get("dried_at")
    if answer.why.key == "dried_out" and isinstance(dried_at, datetime) and dried_at > now:
        # Asked about an hour that lies ahead: it is wet through still, and water keeps it so.
        line = _("Dries out %(when)s") % {"when": when(dried_at)}
        sentence = _("Back in water before that, its soak still counts.")
    elif answer.why.key == "dried_out":
        sentence = _("Dried out since %(when)s.") % {"when": when(values.get("dried_at"))}
    elif answer.why.key == "left_too_soon":
        sentence = _("It left the water too soon: %(when)s.") % {"when": when(values.get("ended_at"))}
        line = _("Dry. Needs %(hours)s in water") % {"hours": show_hours(float(str(values["cold_hours"])))}
    elif answer.why.key == "lifted_out":
        sentence = _("Put it back by %(when)s and its hours go on.") % {"when": when(values.get("back_by"))}
    return SoakWords(state, line, sentence)


def _lapsed(until: object, now: datetime) -> bool:
    return isinstance(until, datetime) and until <= now
