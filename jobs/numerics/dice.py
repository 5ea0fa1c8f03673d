"""Keyed dice: every job, set and slot has its own stream, so taking one away leaves all other draws as they were."""

from __future__ import annotations

from enum import IntEnum
from uuid import UUID

import numpy as np

from inventory.numerics.lognormal import Floats

Key = int | UUID


class Purpose(IntEnum):
    """What a stream of dice is for; the numbers are part of every stored forecast, so never reuse one."""

    JOB = 1
    STEP = 2
    TOOL_SET = 3
    TOOL_TYPE = 4
    NEW_SET = 5
    LEAD_TIME = 6
    RESERVE = 7


def uniforms(seed: int, purpose: Purpose, key: Key, rows: int, draws: int, slot: int = 0) -> Floats:
    """Uniforms (rows, draws) in [0, 1) that depend on nothing but the seed, the purpose, the key and the slot.

    seed: the shop's stored integer, 0 or more. key: a database key, never a position in a list.
    Source: METHODS 5.3 (SeedSequence with a spawn key, PCG64).
    """
    stream = np.random.SeedSequence(entropy=seed, spawn_key=(int(purpose), number_of(key), slot))
    return np.random.Generator(np.random.PCG64(stream)).random((rows, draws))


def number_of(key: Key) -> int:
    """The key as a whole number. Raises: ValueError below 0."""
    number = key.int if isinstance(key, UUID) else int(key)
    if number < 0:
        raise ValueError(f"`key` must be 0 or more; got {key}.")
    return number
