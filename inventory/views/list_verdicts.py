"""A scan's answer about several sets at once: what lies in a place, and what became of a list. See ``verdicts``."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.custody import ScannedMany, StillToLeave
from inventory.models import Place, SetState
from inventory.views.verdicts import Verdict


def of_place(place: Place, states: list[SetState], url: str, hidden: dict[str, str], label: str) -> Verdict:
    """A tub's, van's or crate's label: its sets by the ledger, as a list that is sent back when taken."""
    if not states:
        return Verdict(
            "open",
            place.name,
            reason=_("No set is in it by the ledger."),
            then=_("Scan the sets one by one."),
            short=_("no set in it"),
            mark="tick",
        )
    count = len(states)
    grits = ", ".join(state.tool_set.tool_type.grit for state in states[:12])
    more = "" if count <= 12 else _(" and %(count)d more") % {"count": count - 12}
    return Verdict(
        "open",
        place.name,
        reason=ngettext("%(count)d set is in it.", "%(count)d sets are in it.", count) % {"count": count},
        then=grits + more,
        actions=[
            {
                "label": label,
                "url": url,
                "kind": "fill",
                "hidden": {**hidden, "sets": ",".join(str(state.pk) for state in states), "asked": place.name[:24]},
            }
        ],
        short=ngettext("%(count)d set in it", "%(count)d sets in it", count) % {"count": count},
        mark="ask",
        stays_open=True,
    )


def many_in(done: ScannedMany, states: dict[Any, SetState], target: Place, chosen: Place | None) -> Verdict:
    """What became of a list that came in; those on an outing that has not left yet are asked about, all at once."""
    verdict = many(done, states, _("in"))
    asked = [(tool_set, refusal) for tool_set, refusal in done.refused if isinstance(refusal, StillToLeave)]
    if not asked:
        return verdict
    holders = ", ".join(dict.fromkeys(refusal.holder for _set, refusal in asked))
    count = len(asked)
    hidden = {"sets": ",".join(str(tool_set.pk) for tool_set, _refusal in asked)}
    if chosen is not None:
        hidden["place"] = str(chosen.pk)
    words = ngettext("Take %(count)d set back to %(place)s", "Take %(count)d sets back to %(place)s", count)
    url = reverse("inventory:scan_in")
    verdict.kind, verdict.mark, verdict.stays_open = "elsewhere", "swap", True
    verdict.word = _("Take it back?") if count == 1 else _("Take them back?")
    next_step = asked[0][1].next_step if count == 1 else _("Take them back only if they are not to go.")
    verdict.then = f"{verdict.then} {next_step}"
    back = {"label": words % {"count": count, "place": target.name}, "url": url, "hidden": hidden}
    verdict.actions = [
        {**back, "name": "do", "value": "take_back"},
        {"label": _("Leave it on %(outing)s") % {"outing": holders}, "url": url, "method": "get", "kind": "fill"}
        if count == 1
        else {
            "label": _("Leave them on %(outing)s") % {"outing": holders},
            "url": url,
            "method": "get",
            "kind": "fill",
        },
    ]
    return verdict


def many(done: ScannedMany, states: dict[Any, SetState], word: str) -> Verdict:
    """What became of a whole list; those that were missing until now are said."""
    count = len(done.taken)
    said = ngettext("%(count)d set: %(word)s.", "%(count)d sets: %(word)s.", count) % {"count": count, "word": word}
    lines = [
        f"{states[tool_set.pk].tool_set.tool_type.grit} {states[tool_set.pk].shown_code}: {refusal.why}"
        for tool_set, refusal in done.refused
    ]
    found = [tool_set for tool_set in done.taken if (gone := done.passed.get(tool_set.pk)) and gone.was_missing]
    names = ", ".join(
        states[tool_set.pk].shown_code or states[tool_set.pk].tool_set.tool_type.grit for tool_set in found
    )
    again = _("Missing until now, found: %(sets)s.") % {"sets": names} if found else ""
    if not lines:
        return Verdict(
            "taken", _("Taken"), grit=str(count), reason=said, then=again, short=said, mark="tick", wrote=True
        )
    head = ngettext("%(count)d may not:", "%(count)d may not:", len(lines)) % {"count": len(lines)}
    kind = "refused"
    return Verdict(
        kind,
        _("Not all"),
        grit=f"{count}/{count + len(lines)}",
        lines=[said, again] if again else [said],
        reason=head,
        then=" ".join(lines),
        short=said,
        mark="cross",
        wrote=done.recorded is not None,
    )
