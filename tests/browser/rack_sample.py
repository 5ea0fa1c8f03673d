"""A made-up rack of any size, the same for the same number."""

from __future__ import annotations

import random

from inventory.gauge import Bond, GaugeFace
from inventory.rack_picture import RackGauge, RackRow

LADDER: list[tuple[str, Bond]] = [
    ("30", "metal"), ("70", "metal"), ("120", "metal"), ("50", "hybrid"), ("100", "resin"),
    ("200", "resin"), ("400", "resin"), ("800", "resin"), ("1500", "resin"), ("3000", "resin"),
]  # fmt: skip
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def sample_rows(count: int) -> list[RackRow]:
    """`count` sets over ten grits in every state."""
    rng = random.Random(count)
    rows = []
    for place, (grit, bond) in enumerate(LADDER):
        sets = []
        for at in range(count // 10):
            likely = rng.random()
            low, high = max(likely - 0.12, 0.0), min(likely + 0.15, 1.0)
            roll = rng.random()
            where, water, words = "here", "dry" if bond != "metal" else "", "dry"
            if roll > 0.97:
                where, water, words = "missing", "", "missing since Mon"
            elif roll > 0.9:
                where, words = "aside", "set aside: chipped piece"
            elif roll > 0.75:
                where, words = "out", "out: Dag P., van 3"
            elif roll > 0.6 and bond != "metal":
                where, water, words = (
                    "in_water",
                    rng.choice(["soaking", "soaking", "soaked"]),
                    "soaking until Fri 06:00",
                )
            elif roll > 0.3 and bond != "metal":
                water, words = "conditioned", "conditioned until Thu 05:00"
            code = "GL-" + "".join(rng.choice(ALPHABET) for _ in range(6))
            name = (
                f"{code}, {bond} {grit}, {words}, rack B peg {at + 1}, "
                f"life left on a medium floor likely {likely * 200000:,.0f} "
                f"square feet, at least {low * 200000:,.0f}, up to {high * 200000:,.0f}"
            )
            face = GaugeFace(
                place, 10, bond, low, likely, high, where=where, water=water,  # type: ignore[arg-type]
                glazed=roll > 0.88 and roll < 0.9, leaves=at % 9 == 4, name=name,
            )  # fmt: skip
            sets.append(RackGauge(face, code, f"/s/{code}"))
        here = sum(one.face.likely for one in sets if one.face.where == "here") * 20000
        rows.append(
            RackRow(
                grit,
                f"{bond} · {len(sets)} sets",
                f"/rack/{place}",
                place,
                10,
                sets,
                (here * 0.8, here, here * 1.2),
                here * (0.5 + 0.09 * place),
                f"{here * 10.764:,.0f} ft²",
                "covers" if place < 5 else "may_run_short" if place < 8 else "short",
                "Covers need" if place < 5 else "May run short" if place < 8 else "Short of need",
            )
        )
    return rows
