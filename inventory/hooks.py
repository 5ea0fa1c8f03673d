"""What `inventory` asks of the work without knowing it: `jobs` registers its answers when the apps are ready.

Every hook has a plain answer of its own while nobody has registered one, so that inventory runs alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.models import Branch, Person


@dataclass(frozen=True)
class PlannedUse:
    """One step of a shift that an outing serves, as scan-out needs it.

    step_key: the step's stable key (a UUID) as text. sets: reserved, in the order they go (one, or two that finish
    together). starts_at: the step's planned start.
    reference_m2: reference area the step asks of them; factor: its floor's own factor. where: "step 6 of 6".
    """

    step_key: str
    shift_uuid: UUID
    grit: str
    ladder_place: int
    starts_at: datetime
    reference_m2: float | None = None
    sets: tuple[UUID, ...] = ()
    where: str = ""
    factor: float | None = None


@dataclass(frozen=True)
class NextUse:
    """The next use of a set. words: "Osprey Lane, tonight 19:30, step 6 of 6"; water_by: when it must be in water.

    reference_m2: of all steps of that shift the set is meant for; factor: the floor factor of the first of them.
    """

    words: str
    outing: UUID | None
    outing_name: str
    starts_at: datetime
    leaves_at: datetime
    reference_m2: float | None = None
    companion: UUID | None = None
    floor_words: str = ""
    hardness: str = ""
    water_by: datetime | None = None
    url: str = ""
    factor: float | None = None


@dataclass(frozen=True)
class Found:
    """One thing found by name: its words, a second line, its address."""

    words: str
    detail: str
    url: str


PlanOf = Callable[[UUID], "list[PlannedUse]"]
NextUses = Callable[[Iterable[UUID], datetime], "Mapping[UUID, NextUse]"]
FindMore = Callable[[str, int], "list[Found]"]

_plan: list[PlanOf] = []
_next: list[NextUses] = []
_find: list[FindMore] = []


def register_plan(answer: PlanOf) -> None:
    """Let ``answer(outing_id)`` say what an outing's shifts ask for, coarse to fine; a constant number of queries."""
    _plan[:] = [answer]


def register_next_use(answer: NextUses) -> None:
    """Let ``answer(set_ids, now)`` say what each set is reserved for next; a constant number of queries."""
    _next[:] = [answer]


def register_find(answer: FindMore) -> None:
    """Let ``answer(text, branch_id)`` find jobs and sites by name."""
    _find[:] = [answer]


def plan_of(outing_id: UUID) -> list[PlannedUse]:
    """What the shifts of an outing ask for; nothing while no job is known."""
    return _plan[0](outing_id) if _plan else []


def next_use(set_ids: Iterable[UUID], now: datetime) -> Mapping[UUID, NextUse]:
    """What each set is reserved for next; sets without a reservation are left out."""
    return _next[0](set_ids, now) if _next else {}


def find_more(text: str, branch_id: int) -> list[Found]:
    """Jobs and sites whose names hold the text."""
    return _find[0](text, branch_id) if _find else []


class PlannedNeed(dict[int, float]):
    """Planned reference area, m2, by tool type id. bare: names of jobs without any step, left out."""

    def __init__(self, need: Mapping[int, float], bare: tuple[str, ...] = ()) -> None:
        super().__init__(need)
        self.bare = bare


NeedByType = Callable[[Branch, datetime], "Mapping[int, float]"]
Leaving = Callable[[Branch, datetime], "frozenset[UUID]"]
NamesOfWork = Callable[[Iterable[UUID]], "Mapping[UUID, str]"]
ClosedShifts = Callable[[Iterable[UUID]], "frozenset[UUID]"]

_need: list[NeedByType] = []
_leaving: list[Leaving] = []
_names: list[NamesOfWork] = []
_closed: list[ClosedShifts] = []


def register_need_by_type(answer: NeedByType) -> None:
    """Let ``answer(branch, now)`` say what the plans of the next twelve weeks ask, reference m2 by tool type id."""
    _need[:] = [answer]


def register_leaves_tonight(answer: Leaving) -> None:
    """Let ``answer(branch, now)`` say which sets are reserved for a shift that leaves tonight."""
    _leaving[:] = [answer]


def register_names_of_work(answer: NamesOfWork) -> None:
    """Let ``answer(uuids)`` name the visits and floors that worked entries speak of: "Osprey Lane", "hall 2"."""
    _names[:] = [answer]


def register_closed_shifts(answer: ClosedShifts) -> None:
    """Let ``answer(shift_uuids)`` say which of these shifts are closed: their entries are the shop manager's."""
    _closed[:] = [answer]


def need_by_type(branch: Branch, now: datetime) -> Mapping[int, float] | None:
    """What is planned in the next twelve weeks, reference m2 by tool type id; None while nobody plans."""
    return _need[0](branch, now) if _need else None


def leaves_tonight(branch: Branch, now: datetime) -> frozenset[UUID]:
    """The sets reserved for a shift that leaves tonight."""
    return _leaving[0](branch, now) if _leaving else frozenset()


def names_of_work(uuids: Iterable[UUID]) -> Mapping[UUID, str]:
    """Names of visits and floors; those nobody knows are left out."""
    return _names[0](uuids) if _names else {}


def closed_shifts(shift_uuids: Iterable[UUID]) -> frozenset[UUID]:
    """Which of these shifts are closed."""
    return _closed[0](shift_uuids) if _closed else frozenset()


SaidOfShifts = Callable[[Iterable[UUID]], "frozenset[UUID]"]

_said: list[SaidOfShifts] = []


def register_said_of_shifts(answer: SaidOfShifts) -> None:
    """Let ``answer(act_ids)`` say which acts said something of a shift itself, beside what they say of sets."""
    _said[:] = [answer]


def said_of_shifts(act_ids: Iterable[UUID]) -> frozenset[UUID]:
    """Which of these acts said something of a shift itself; none while no job is known."""
    return _said[0](act_ids) if _said else frozenset()


LeavingJobs = Callable[[Person, datetime], "list[Found]"]

_leaving_jobs: list[LeavingJobs] = []


def register_leaving_jobs(answer: LeavingJobs) -> None:
    """Let ``answer(person, now)`` say which shifts of tonight have no outing yet; their address makes it by POST."""
    _leaving_jobs[:] = [answer]


def leaving_jobs(person: Person, now: datetime) -> list[Found]:
    """The shifts of tonight that have no outing yet; nothing while no job is known."""
    return _leaving_jobs[0](person, now) if _leaving_jobs else []


@dataclass(frozen=True)
class OpenStep:
    """Planned steps of a coming shift, of one tool type, that no set is reserved for.

    words: "Osprey Lane, Thu 15 May 19:30"; leaves_at, starts_at: when its sets leave, and the first of the steps
    starts. reference_m2: what they ask of a set, None where nobody says; reserve_url: reserves the set that is posted
    there as ``set``, and puts it in the tub posted as ``tub``; choose_url: the page of all sets that could be meant.
    """

    tool_type_id: int
    words: str
    leaves_at: datetime
    starts_at: datetime
    url: str = ""
    reference_m2: float | None = None
    reserve_url: str = ""
    choose_url: str = ""


OpenSteps = Callable[[Branch, datetime], "list[OpenStep]"]

_open_steps: list[OpenSteps] = []


def register_open_steps(answer: OpenSteps) -> None:
    """Let ``answer(branch, now)`` say which steps of coming shifts have no set reserved, the soonest first."""
    _open_steps[:] = [answer]


def open_steps(branch: Branch, now: datetime) -> list[OpenStep]:
    """The steps of coming shifts without a reserved set; nothing while no job is known."""
    return _open_steps[0](branch, now) if _open_steps else []


@dataclass(frozen=True)
class PlannedStep:
    """What the steps of one tool type ask of their sets on a coming shift.

    words: "Osprey Lane, Thu 15 May"; reference_m2: reference area; factor: of their floors; sets: reserved for them.
    leaves_at: when its sets leave, None as long as it is not known; tonight: its sets are chosen by who sends them out.
    """

    tool_type_id: int
    words: str
    starts_at: datetime
    reference_m2: float
    factor: float = 1.0
    sets: tuple[UUID, ...] = ()
    url: str = ""
    leaves_at: datetime | None = None
    tonight: bool = False


PlannedSteps = Callable[[Branch, datetime, "Iterable[int]"], "list[PlannedStep]"]

_planned: list[PlannedSteps] = []


def register_planned_steps(answer: PlannedSteps) -> None:
    """Let ``answer(branch, now, type_ids)`` say what coming shifts ask of these tool types, the soonest first."""
    _planned[:] = [answer]


def planned_steps(branch: Branch, now: datetime, type_ids: Iterable[int]) -> list[PlannedStep] | None:
    """What coming shifts ask of these tool types, the soonest first; None while nobody plans."""
    return _planned[0](branch, now, type_ids) if _planned else None


@dataclass(frozen=True)
class NamedTonight:
    """What the page of tonight says of one set. words: the job; url: the page; offered: not decided yet."""

    words: str
    url: str
    offered: bool = False


NamesTonight = Callable[[Branch, datetime], "Mapping[UUID, NamedTonight]"]

_tonight: list[NamesTonight] = []


def register_named_tonight(answer: NamesTonight) -> None:
    """Let ``answer(branch, now)`` say which sets the page of tonight names: those that go, and those it offers."""
    _tonight[:] = [answer]


def named_tonight(branch: Branch, now: datetime) -> Mapping[UUID, NamedTonight]:
    """The sets that the page of tonight names; none while no job is known."""
    return _tonight[0](branch, now) if _tonight else {}
