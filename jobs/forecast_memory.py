"""What was worked out of a tool type lately, kept in this process while nothing it stands on has changed.

An order changes the answers of one supplier's types, a scan none, work on a floor that of one type; so after most
entries a forecast costs little more than reading its rows. Only speed: the same answers come without it.
"""

from __future__ import annotations

import pickle
from collections import OrderedDict
from collections.abc import Sequence
from hashlib import blake2b
from threading import Lock

from jobs.numerics.rack import Horizon, PlannedStep, RackSet, TypeOnRack
from jobs.numerics.reorder import ReorderAnswer, forecast_need

_KEPT = 120  # answers: ten types by some certainties and their last states; some 100 kB each
_answers: OrderedDict[bytes, ReorderAnswer] = OrderedDict()
_lock = Lock()


def answer_of(
    kind: TypeOnRack,
    sets: Sequence[RackSet],
    steps: Sequence[PlannedStep],
    horizon: Horizon,
    certainty: float,
    seed: int,
    draws: int,
) -> ReorderAnswer:
    """`forecast_need` of one tool type, from memory where it was asked with the very same input before."""
    own_sets = [one for one in sets if one.type_id == kind.type_id]
    own_steps = [step for step in steps if step.type_id == kind.type_id]
    asked = pickle.dumps((kind, own_sets, own_steps, horizon, certainty, seed, draws))
    key = blake2b(asked, digest_size=20).digest()
    with _lock:
        found = _answers.get(key)
        if found is not None:
            _answers.move_to_end(key)
            return found
    (made,) = forecast_need([kind], own_sets, own_steps, horizon, certainty, seed, draws=draws)
    with _lock:
        _answers[key] = made
        while len(_answers) > _KEPT:
            _answers.popitem(last=False)
    return made


def forget() -> None:
    """Empty the memory: for tests and benchmarks."""
    with _lock:
        _answers.clear()
