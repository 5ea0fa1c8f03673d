"""What each flag of a ledger says to people: one sentence, and what to check next. The state gives the codes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Text = str | Promise


@dataclass(frozen=True)
class FlagWords:
    """A flag in words: what does not fit, and the next step; both translatable."""

    sentence: Text
    next_step: Text


# Not raised by a ledger but found by the wear model; that somebody looked is settled as a flag is (actions.looked).
WEARS_ODDLY, LOOKED = "wears_oddly", "looked"

_WHICH_IS_TRUE = _("Ask who was there; void the entry that is not true, or settle this if both are.")
_LOOK_AT_IT = _("Look at the set; then clear it, or scan it in and keep it back.")
_CHECK_TIMES = _("Compare the times with the other entries of that shift; void and enter again what is wrong.")

FLAG_WORDS: dict[str, FlagWords] = {
    "already_soaking": FlagWords(
        _("It was put in this tub, where it lay already by its ledger."),
        _("If it was lifted out in between, enter when; else settle this: the soak goes on from its first entry."),
    ),
    "before_received": FlagWords(
        _("Something was entered for a time before the set was received or opened."),
        _("Check the date of its opening; void and enter it again with the right one."),
    ),
    "clock_ahead": FlagWords(
        _("The phone's clock was ahead; the time was set back to when it was sent."), _CHECK_TIMES
    ),
    "clock_offset_moved": FlagWords(
        _("The phone's clock was moved before this was sent; the time is by its last good contact."), _CHECK_TIMES
    ),
    "confirmed_without_soak": FlagWords(
        _("Conditioning was confirmed though no soak is on record."),
        _("Enter the soak with its tub and times, or void the confirmation."),
    ),
    "counted_while_out": FlagWords(
        _("A count saw it here while it was out; its outing ended."),
        _("If it came back, settle this; if it only was here for a while, scan it out again."),
    ),
    "gate_not_asked": FlagWords(
        _("It left without the check at scan-out."), _("Check that it was conditioned; if not, call the crew.")
    ),
    "gate_overridden": FlagWords(
        _("It left though it was not ready."), _("Read the reason; settle this, or talk to who sent it out.")
    ),
    "height_rose": FlagWords(
        _("The height is more than before, and no piece was changed."),
        _("Measure again; void the wrong reading, or enter the changed piece."),
    ),
    "held_back": FlagWords(
        _("This was recorded without the right to do so and does not count yet."),
        _("Accept it, or leave it out."),
    ),
    "in_from_another_outing": FlagWords(
        _("It came back from another outing than the one that had it."), _WHICH_IS_TRUE
    ),
    "in_without_out": FlagWords(
        _("It was scanned in though it was not out."),
        _("If it had been taken without a scan, enter the scan out with its time; else settle this."),
    ),
    "label_taken": FlagWords(
        _("The code opens something else: an earlier entry has it."), _("Give this set a new label.")
    ),
    "moved_while_out": FlagWords(
        _("It was moved in the shop while it was out; its outing ended."),
        _("If it came back, settle this; else void the move."),
    ),
    "nothing_to_clear": FlagWords(
        _("It was cleared though nothing was held against it."), _("Settle this, or void the entry of the wrong set.")
    ),
    "opened_twice": FlagWords(
        _("It was opened a second time; the first opening holds."),
        _("Void one of the two; two sets under one name need a code each."),
    ),
    "out_while_retired": FlagWords(_("It went out though it is retired."), _LOOK_AT_IT),
    "out_while_set_aside": FlagWords(_("It went out though it is set aside."), _LOOK_AT_IT),
    "received_twice": FlagWords(
        _("It was received a second time; the first time holds."),
        _("Void one of the two; a second set needs a code of its own."),
    ),
    "retired_twice": FlagWords(
        _("It was retired though it was retired already; the first reason holds."),
        _("If the second reason is the true one, void the first."),
    ),
    "seen_while_out": FlagWords(
        _("It was seen in the shop while it was out; its outing ended."),
        _("If it came back, settle this; if it was seen elsewhere, void the sighting."),
    ),
    "set_aside_while_retired": FlagWords(
        _("It was set aside though it is retired; it stays retired."), _("Clear it first if it is to be used again.")
    ),
    "soaked_while_retired": FlagWords(
        _("A retired set was put in water."), _("Take it out, or clear it if it is to be used again.")
    ),
    "taken_by_two": FlagWords(
        _("A second outing took it before the first gave it back; the latest has it."), _WHICH_IS_TRUE
    ),
    "used_while_missing": FlagWords(
        _("Somebody used it while nobody knew where it was."), _("Ask them; then enter it as found where it is.")
    ),
    "void_of_another_set": FlagWords(
        _("The void speaks of another set than the entry it names; it has no effect."),
        _("Void the entry from the card of the set it belongs to."),
    ),
    "void_of_answer": FlagWords(
        _("A void that was held back names an answer; it has no effect."),
        _("Void the answer yourself if it is wrong."),
    ),
    "void_of_void": FlagWords(
        _("A void was voided; that has no effect, the first entry stays void."),
        _("Enter again what was voided by mistake."),
    ),
    "void_target_missing": FlagWords(
        _("A void names an entry that is not on record."),
        _("Wait until every phone has sent; then settle this."),
    ),
    "was_not_missing": FlagWords(
        _("It was found though it was not missing."), _("Settle this if the place is right now.")
    ),
    "was_not_soaking": FlagWords(
        _("A soak was ended that was not begun."), _("Enter when and in which tub it was put in water.")
    ),
    "worked_elsewhere": FlagWords(
        _("It worked for another outing than the one that had it; the area counts."), _WHICH_IS_TRUE
    ),
    "worked_while_retired": FlagWords(
        _("It worked though it is retired; the area counts."),
        _("Void the work if another set did it, or clear the set."),
    ),
    "worked_while_soaking": FlagWords(
        _("It worked while it lay in a tub by its ledger; the soak ended there."),
        _("Enter when it was taken out, or void the work if another set did it."),
    ),
}

_UNKNOWN = FlagWords(_("Something here does not fit."), _("Look through the set's ledger, then settle this."))


def flag_words(code: str) -> FlagWords:
    """The words of a flag; of a code that this version does not know, words that still say what to do."""
    return FLAG_WORDS.get(code, _UNKNOWN)


def looked_at(facts: Mapping[str, Any], reading: UUID) -> bool:
    """Whether somebody looked at a set that wears oddly since this reading of it. facts: of its state."""
    return [str(reading), WEARS_ODDLY] in facts.get("settled", [])
