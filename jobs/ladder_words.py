"""A ladder plan in words: why there is none, which rule a number came from, what a machine stands in the way of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.models import Machine, ToolType
from inventory.refusals import Refused
from jobs.laddering import ShopLadder, why_not
from jobs.numerics.ladder_choice import ChosenSteps
from jobs.numerics.ladder_facts import LadderRefused


class NoLadder(Refused):
    """No ladder can be planned for these floors; the sentence says what stands in the way."""

    code = "no_ladder"


# Where each number comes from, one sentence a rule (METHODS 2).
RULES: Mapping[str, str | Promise] = {
    "area_error": gettext_lazy("The planned area, give or take how far floors usually are from it."),
    "area_times_passes": gettext_lazy("Floor area times passes."),
    "worked_times_factor": gettext_lazy("Worked area times the floor factor of its kind of floor."),
    "edge_width_times_passes": gettext_lazy(
        "Edge length times the width worked by hand, as often as the machine goes."
    ),
    "production": gettext_lazy("Path less overlap, times speed, times the share of time it runs, over passes."),
    "running_and_changes": gettext_lazy("Machine at work, changes of tools and tanks filled again."),
    "machine_and_edges": gettext_lazy("The longer of machine and edges: one person does the edges beside it."),
    "edge_by_setting": gettext_lazy("Edges by hand at the shop's rate, an assumption until it says its own."),
    "edge_by_hand_machine": gettext_lazy("Edges with the hand machine on record."),
    "elapsed_over_shift": gettext_lazy("Hours over the hours of a shift, rounded up."),
    "flow_while_running": gettext_lazy("Water the machine takes a minute, while it runs."),
    "cleaner_ratio": gettext_lazy("Water over the mix. The cleaner's label comes first."),
    "tank_emptied_each_change": gettext_lazy("Water over the tank, emptied and flushed at each change of tools."),
    "no_tank_said": gettext_lazy("Not counted: no tank is on record of the machine."),
    "recovered_share": gettext_lazy("Water picked up again, over the recovery tank."),
    "no_recovery_tank_said": gettext_lazy("Not counted: no recovery tank is on record of the machine."),
    "recovered_water_and_solids": gettext_lazy("Water picked up again and what is ground off: a rough figure."),
    "depth_removed": gettext_lazy("Area times the depth ground off: a rough figure."),
    "worked_dry": gettext_lazy("Worked dry."),
    "share_of_life": gettext_lazy("Reference area over the life of a new set."),
    "price_by_share_used": gettext_lazy("The share of a new set that is used up, times its price."),
    "passes_practice": gettext_lazy("common practice"),
    "passes_own": gettext_lazy("as planned"),
    "use_by_area_and_edge": gettext_lazy("Area and edge times what the shop says it uses."),
    "speed_working": gettext_lazy("at the shop's walking speed"),
    "speed_middle": gettext_lazy("at the middle of its own speeds"),
    # First and last step.
    "coating_starts_coarsest": gettext_lazy("a coating comes off first: it starts at the coarsest"),
    "heavy_starts_coarsest": gettext_lazy("heavy soil or roughness starts at the coarsest"),
    "light_starts_finer": gettext_lazy("light soil starts finer, in the middle of the metal steps"),
    "sound_starts_at_resin": gettext_lazy("a sound floor starts at the first resin step"),
    "no_cutting_step": gettext_lazy("no metal step is on the ladder: it starts at the first one"),
    "no_resin_step": gettext_lazy("no resin step is on the ladder: it starts at the last metal one"),
    "refresh_one_coarser": gettext_lazy("a refresh goes one grit coarser and back up"),
    "refresh_at_coarsest": gettext_lazy("a refresh at the coarsest there is"),
    "upkeep_finest_used": gettext_lazy("an upkeep run takes the finest grit used"),
    "own_steps": gettext_lazy("your own steps"),
    "finish_by_grit": gettext_lazy("it ends at the finest grit the shop set for this finish"),
    "finish_finest": gettext_lazy("it ends at the finest grit there is"),
    "finest_used": gettext_lazy("it ends at the finest grit used there"),
    "finest_by_finish": gettext_lazy("it ends where the finish would"),
}

KIT: Mapping[str, str | Promise] = {
    "eye_protection": gettext_lazy("eye protection"),
    "first_aid": gettext_lazy("first-aid kit and eye rinse"),
    "section_tape": gettext_lazy("tape to mark sections"),
    "gloves_alkaline": gettext_lazy("waterproof gloves against alkaline slurry"),
    "wet_floor_signs": gettext_lazy("signs for the wet floor"),
    "wet_vacuum": gettext_lazy("wet vacuum"),
    "bucket_for_sets": gettext_lazy("bucket to keep sets wet"),
    "dust_extractor": gettext_lazy("dust extractor"),
    "hepa_vacuum": gettext_lazy("HEPA vacuum"),
    "edge_tool": gettext_lazy("edge tool"),
    "cleaner": gettext_lazy("cleaner"),
    "slurry": gettext_lazy("room for slurry"),
    "densifier": gettext_lazy("densifier"),
    "guard": gettext_lazy("guard"),
    "edge_discs": gettext_lazy("edge discs"),
}


def why_not_words(tool_type: ToolType, machine: Machine) -> list[str]:
    """Why a tool type's sets do not fit a machine, in words; [] when they do."""
    words = {
        "mount": _("mount %(has)s, the machine takes %(takes)s") % {"has": tool_type.mount, "takes": machine.mount},
        "pieces": _("%(has)s pieces, a load is %(takes)s")
        % {"has": tool_type.pieces_per_set, "takes": machine.pieces_per_load},
        "hand": _("made for the other hand"),
        "water": _("made for %(water)s work") % {"water": tool_type.get_wet_dry_display()},
    }
    return [words[why] for why in why_not(tool_type, machine)]


def rule_words(rule: str) -> str:
    """The rule a number came from, in a sentence."""
    return str(RULES.get(rule, ""))


def passes_words(rule: str, logged: int) -> str:
    """Where passes come from: common practice, or how many finished steps of record."""
    if rule != "passes_learnt":
        return rule_words(rule)
    return ngettext("learnt from %(n)s step", "learnt from %(n)s steps", logged) % {"n": logged}


def chosen_words(chosen: ChosenSteps) -> str:
    """Why a floor starts and ends at these steps, one sentence; with what nobody said."""
    first, last = rule_words(chosen.first_rule), rule_words(chosen.last_rule)
    said = first if chosen.first_rule == chosen.last_rule else _("%(first)s; %(last)s") % {"first": first, "last": last}
    words = f"{said[:1].upper()}{said[1:]}."
    if chosen.condition_guessed:
        words += " " + _("Nobody said how the floor looks: it was taken from its surface.")
    return words


def skipped_words(chosen: Sequence[ChosenSteps], types: Mapping[int, ToolType]) -> list[str]:
    """A sentence for each grit that the chosen steps skip."""
    skips = {(skip.coarser, skip.finer): skip for one in chosen for skip in one.skipped}
    return [
        _("From %(low)s to %(high)s skips a grit: more than %(ratio)s times finer.")
        % {"low": types[skip.coarser].grit, "high": types[skip.finer].grit, "ratio": f"{skip.limit:g}"}
        for skip in skips.values()
    ]


def refused_words(refused: LadderRefused, shop: ShopLadder) -> NoLadder:
    """The refusal of the numerics in the words of the page: what was wrong, what is allowed, what next."""
    if refused.code == "no_machine_fits":
        return _no_machine(refused, shop)
    named: dict[str, Any] = {
        key: _name(shop, refused.values.get(key)) for key in ("before", "after", "start", "end", "step")
    }
    value = refused.values.get("value")
    named["value"] = f"{value:g}" if isinstance(value, (int, float)) else str(value or "")
    named["limit"] = f"{shop.settings['hole_ratio']:g}"
    why, then = {
        "zone_of_no_area": (_("A floor without an area cannot be planned."), _("Type its floor area.")),
        "no_zone": (_("There is no floor to plan."), _("Add one with its area.")),
        "no_ladder": (_("The shop has no tool type in use yet."), _("Name the types it buys, coarse to fine.")),
        "place_twice": (
            _("%(before)s and %(after)s stand at one place of the ladder."),
            _("Give one of them another place."),
        ),
        "ladder_not_rising": (
            _("%(after)s comes after %(before)s on the ladder and is not finer."),
            _("Change the place of one of them."),
        ),
        "ladder_with_a_hole": (
            _("The ladder has a hole: %(after)s is %(value)s times finer than %(before)s; below %(limit)s is allowed."),
            _("Put a tool type between them."),
        ),
        "finish_below_start": (
            _("This finish ends at %(end)s, coarser than the first step, %(start)s."),
            _("Choose a higher finish, or choose the steps yourself."),
        ),
        "finish_level": (_("A finish is level 1 to 4."), _("Choose one.")),
        "no_steps": (_("No step is planned yet."), _("Propose the ladder in the plan.")),
        "step_not_on_ladder": (_("A step is not on the shop's ladder."), _("Choose another tool type.")),
        "own_passes": (_("%(value)s passes cannot be planned; 1 to 12 can."), _("Change the passes of that step.")),
    }.get(refused.code, (_("These numbers make no plan: %(text)s"), _("Check floors, tool types and settings.")))
    named["text"] = str(refused)
    return NoLadder(why % named, then)


def _name(shop: ShopLadder, key: object) -> str:
    found = shop.types.get(int(key)) if isinstance(key, str) and key.isdecimal() else None
    return found.said_name if found is not None else str(key or "")


def _no_machine(refused: LadderRefused, shop: ShopLadder) -> NoLadder:
    key = str(refused.values.get("step", ""))
    tool_type = shop.types.get(int(key)) if key.isdecimal() else None
    if tool_type is None or not shop.rows:
        return NoLadder(_("No machine is on record yet: hours hang on its path and speed."), _("Add one."))
    if not shop.machines:
        return NoLadder(
            _("No path is on record of %(machines)s: no hours can be worked out.")
            % {"machines": ", ".join(shop.without_path)},
            _("Write the width of its path."),
        )
    reasons = []
    for machine in shop.machines:
        row = shop.rows[machine.key]
        why = why_not_words(tool_type, row)
        if why and not machine.hand:
            reasons.append(f"{row.name}: {', '.join(why)}")
    said = "; ".join(reasons) or _("only hand machines are on record")
    return NoLadder(
        _("No machine fits %(step)s (%(reasons)s).") % {"step": tool_type.said_name, "reasons": said},
        _("Take another machine or tool type, or mend what is on record of them."),
    )
