"""What a builder would be offered first for loads drawn at random: a table to be read.

Nothing is asserted. `pytest -s` prints it.
"""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from rfcal.matching.goal import Goal
from rfcal.matching.merit import Group
from rfcal.matching.ranking import rank
from rfcal.matching.stock import Stock
from rfcal.models.cables import CABLES

COAX = CABLES["RG-213"].line(1.0)
STOCK = Stock(lines=(COAX, replace(COAX, z0=75.0)))
BANDS = ((3.5e6, 3.8e6), (14.0e6, 14.35e6), (50.0e6, 50.5e6), (144e6, 146e6), (430e6, 440e6))


def drawn(rng, low_hz, high_hz):
    """A resistance with a reactance that rises, of SWR 1 to some hundreds."""
    frequency = np.linspace(low_hz, high_hz, 41)
    middle = (low_hz + high_hz) / 2
    r, x = 50 * 10 ** rng.uniform(-1, 1), 150 * rng.standard_normal() * rng.uniform() ** 2
    slope = rng.uniform(0, 20) * r  # ohm for a change of the frequency by itself
    return frequency, r + 1j * (x + slope * (frequency / middle - 1))


@pytest.mark.parametrize("seed", [11, 12])
def test_what_is_offered_first(seed):
    rng = np.random.default_rng(seed)
    print(
        f"\nseed {seed}\n{'MHz':>6s} {'load / ohm':>14s} {'SWR':>7s}  first, and what it delivers"
    )
    count = Counter()
    for low_hz, high_hz in BANDS:
        for _ in range(8):
            frequency, load = drawn(rng, low_hz, high_hz)
            goal = Goal(frequency, load, (low_hz + high_hz) / 2, (low_hz, high_hz))
            found = rank(goal, stock=STOCK)
            z = goal.centre_load()
            said = "nothing needed" if found.nothing_needed else "none"
            if found.candidates:
                first = found.candidates[0]
                parts = ", ".join(e.in_words() for e in first.network.elements)
                place = found.group(first)
                better = first.lost_db - found.least_db
                count["by group", place.name] += 1
                count["more than 0.1 dB behind the best"] += better > 0.1 + 1e-9
                count["below no network"] += place == Group.BELOW and not found.nothing_needed
                said = (
                    f"{'(nothing needed) ' if found.nothing_needed else ''}"
                    f"{first.network.topology}: {parts}; SWR {first.worst_swr:.2f}, "
                    f"-{first.lost_db:.2f} dB, best -{found.least_db:.2f} dB"
                )
            print(
                f"{goal.centre_hz / 1e6:6.1f} {z.real:6.1f} {z.imag:+6.0f}j "
                f"{min(found.raw_worst_swr, 9999):7.1f}  {said}"
            )
    print(dict(count))
