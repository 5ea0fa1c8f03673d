"""What a scanned or typed text opens: a set, a place, an outing, a blank label, or why it opens nothing."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.codes import CodeNotRead, meant_as_printed, read_code
from inventory.models import Branch, Label, Outing, Place, ToolSet
from inventory.sheets.set_rows import code_key
from inventory.sheets.words import squeezed

# So many sets of one own code are shown to choose from.
_SEVERAL = 24
_SHOWN = 40
# What an own code is written with beside letters and digits says nothing: "R-08" and "r 8" are one.
_MARKS = r"(\W|_)*"


@dataclass(frozen=True)
class Opened:
    """What a code opens. Exactly one of tool_set, place, outing, blank or sentence says something.

    label: None when a set's own code was typed. sentence: why nothing opens, and what to do. several: the sets that go
    by one own code; whoever scanned says which one is meant.
    """

    text: str
    label: Label | None = None
    tool_set: ToolSet | None = None
    place: Place | None = None
    outing: Outing | None = None
    blank: bool = False
    sentence: str = ""
    several: tuple[ToolSet, ...] = ()

    @property
    def code(self) -> str:
        """The code as printed, or the text as typed."""
        return self.label.code if self.label is not None else self.text


def open_text(text: str, branch: Branch) -> Opened:
    """What this text opens at this branch: a code in any writing, a label's whole address, or a shop's own code.

    Two queries at most. A set's label of another branch opens too: sets travel; places and outings do not.
    """
    typed = " ".join(text.split())[:400]
    try:
        code = read_code(typed)
    except CodeNotRead as problem:
        sentence = str(problem)
        if not meant_as_printed(typed):
            sentence = _("No set is called “%(code)s”. Look how it is written, or find the set by its type.")
            sentence %= {"code": typed if len(typed) <= _SHOWN else typed[: _SHOWN - 1] + "…"}
        return _own_code(typed, branch, sentence)
    label = (
        Label.objects.filter(pk=code)
        .select_related(
            "opens_set__tool_type",
            "opens_place__branch",
            "opens_outing__branch",
            "opens_outing__van",
            "opens_outing__holder_person",
        )
        .first()
    )
    if label is None:
        sentence = _("No set has the code %(code)s. Look at the label again, or find the set by its type.")
        return _own_code(typed, branch, sentence % {"code": code})
    owner = label.opens_place or label.opens_outing
    if owner is not None and owner.branch_id != branch.pk:
        words = _("%(name)s belongs to %(branch)s, not to %(here)s. Scan the sets that come from there one by one.")
        return Opened(typed, label, sentence=words % {"name": owner, "branch": owner.branch, "here": branch})
    return Opened(typed, label, label.opens_set, label.opens_place, label.opens_outing, blank=label.blank)


def _own_code(typed: str, branch: Branch, sentence: str) -> Opened:
    """A set by the code the shop itself gave it; of several with one code somebody says which."""
    found: list[ToolSet] = []
    if typed and len(typed) <= _SHOWN:
        alike, key = squeezed(typed), code_key(typed)
        pattern = _MARKS + _MARKS.join(("0*" if part.isdecimal() else "") + re.escape(part) for part in alike.split())
        of_ours = ToolSet.objects.filter(state__branch=branch).exclude(own_code="").select_related("tool_type")
        written = of_ours.filter(own_code__iregex=f"^{pattern}{_MARKS}$") if alike else of_ours.filter(own_code=typed)
        rows = written.order_by("tool_type__ladder_place", "pk")
        found = [one for one in rows if not alike or code_key(one.own_code) == key][:_SEVERAL]
    if len(found) == 1:
        return Opened(typed, tool_set=found[0])
    if found:
        count = len(found)
        words = ngettext(
            "%(count)d set has the own code “%(code)s”.", "%(count)d sets have the own code “%(code)s”.", count
        ) % {"count": count, "code": typed}
        sentence = words + " " + _("Scan the label of the one you hold.")
        return Opened(typed, sentence=sentence, several=tuple(found))
    return Opened(typed, sentence=sentence)
