"""What was worked out of a type is remembered while nothing it stands on has changed, and is never another answer."""

from __future__ import annotations

from dataclasses import replace

import pytest

from inventory.numerics.lead_time import fit_lead_time
from jobs import forecast_memory
from jobs.forecast_memory import answer_of, forget
from jobs.numerics.rack import Horizon, PlannedStep, RackSet, TypeOnRack
from jobs.numerics.reorder import ReorderAnswer, forecast_need
from tests.jobs.lives import exact

HORIZON = Horizon(list(range(200)))
KIND = TypeOnRack(1, exact(1000.0), fit_lead_time(10.0))
STEPS = [PlannedStep(1, 1, 1, 30, 900.0), PlannedStep(2, 2, 2, 10, 900.0)]
SETS = [RackSet(1, 1), RackSet(2, 2)]


def asked(kind: TypeOnRack = KIND, steps: list[PlannedStep] = STEPS, certainty: float = 0.95) -> ReorderAnswer:
    return answer_of(kind, SETS, steps, HORIZON, certainty, 7, 200)


@pytest.fixture(autouse=True)
def _empty() -> None:
    forget()


def test_the_same_question_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    first = asked()
    monkeypatch.setattr(forecast_memory, "forecast_need", None)

    assert asked() is first
    # Another type's step moves nothing of this one.
    assert asked(steps=[STEPS[0], replace(STEPS[1], day=11)]) is first


@pytest.mark.parametrize(
    "change",
    [
        {"kind": replace(KIND, waited_days=(0,))},
        {"kind": replace(KIND, lives=exact(1001.0))},
        {"steps": [replace(STEPS[0], day=31), STEPS[1]]},
        {"certainty": 0.9},
    ],
)
def test_whatever_changes_is_worked_out_anew(change: dict) -> None:
    first = asked()

    assert asked(**change) is not first


def test_the_remembered_answer_is_the_numerics_own() -> None:
    (plain,) = forecast_need([KIND], SETS[:1], STEPS[:1], HORIZON, 0.95, 7, draws=200)

    for one in (asked(), asked()):
        assert (one.order_by_working_days, one.order_sets, one.sure) == (
            plain.order_by_working_days,
            plain.order_sets,
            plain.sure,
        )


def test_the_memory_does_not_grow_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forecast_memory, "_KEPT", 2)
    for certainty in (0.8, 0.9, 0.95):
        asked(certainty=certainty)

    assert len(forecast_memory._answers) == 2
