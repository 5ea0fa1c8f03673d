"""Tonight's picture as text: what leaves when, with which sets, what is to mend. For the terminal of `demo`."""

from __future__ import annotations

from datetime import datetime

from inventory.models import Branch
from inventory.times import show_time, show_when
from jobs.numerics.enough import enough
from jobs.queries.tonight import Cell, Leaving, leaving_tonight

_WORDS = {
    "ready": "ready",
    "tight": "tight",
    "soaking": "soaking, ready in time",
    "soaked": "soaked, to confirm",
    "taken": "on its van",
    "against": "left against the gate",
    "done": "done",
    "dry": "DRY",
    "dries": "DRIES OUT BEFORE IT",
    "late": "SOAKS TOO LONG",
    "no": "SHORT OF LIFE",
    "glazed": "GLAZED",
    "twice": "MEANT TWICE",
    "missing": "MISSING",
    "elsewhere": "WITH SOMEBODY ELSE",
    "aside": "SET ASIDE",
    "none": "NO SET",
}


def picture(branch: Branch, now: datetime) -> str:
    """Tonight in lines of at most about 90 characters; what needs mending is in capitals."""
    leaving = leaving_tonight(branch, now)
    if not leaving:
        return "\nNothing leaves tonight.\n"
    troubles = sum(cell.trouble for one in leaving for cell in one.cells)
    first = show_when(leaving[0].leaves_at, now, branch)
    things = "nothing to mend" if not troubles else f"{troubles} thing{'s' if troubles > 1 else ''} to mend"
    lines = ["", f"Tonight at {branch.name}: {things} before the first van leaves, {first}.", ""]
    for one in leaving:
        lines += _job(one, branch)
    return "\n".join(lines)


def _job(one: Leaving, branch: Branch) -> list[str]:
    lead = one.night.shift.lead.name if one.night.shift.lead else "no lead"
    word = {"yes": "yes", "tight": "tight", "no": "no", "": "not known"}[one.enough]
    head = f"{show_time(one.leaves_at, branch)}  {one.night.job.name} ({lead})   enough for tonight: {word}"
    return [head, *(_line(cell) for cell in one.cells), ""]


def _line(cell: Cell) -> str:
    tool_type = cell.step.tool_type
    code = cell.state.code if cell.state is not None else "-"
    sure = f"{_sure(cell.chance)}" if cell.chance is not None else ""
    text = f"       {tool_type.name:<12} {code:<11}{_WORDS[cell.key]:<23} {sure:<24}"
    if cell.instead is not None:
        text += f" take {cell.instead.code} instead"
    return text.rstrip()


def _sure(chance: float) -> str:
    said = enough(chance)
    return "over 95 % sure to finish" if said.over_95 else f"{said.percent} % sure to finish"
