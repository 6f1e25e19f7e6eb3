"""What the trim says of built networks with one part off, by the load's SWR: a table to be read.

Wanted: the part right wherever one is named, its value inside its 95 % in nearly all of them, and
"cannot tell" rare; what is to be done lowers the SWR in truth; what is called as designed lies
within what is said to be told; at once. Nothing is asserted; `pytest -s` prints it.
"""

import time
from dataclasses import replace

import numpy as np
import pytest

from rfcal.matching.topologies import TOPOLOGIES
from rfcal.matching.trim.verdict import trim
from tests.built_networks import drawn_with_goal

SWRS = ((1.6, 5), (5, 25), (25, 100))
COLUMNS = (
    "one part",
    "right",
    "inside",
    "either part",
    "undecided",
    "leads",
    "as designed",
    "within",
    "other",
    "leave it",
    "to no gain",
    "ms each",
)


@pytest.mark.parametrize(
    ("seed", "megahertz", "topologies", "leads"),
    [
        (5301, 14.2, ("L", "pi", "T"), False),
        (5302, 14.2, tuple(TOPOLOGIES), True),
        (5303, 145, ("L", "pi", "T"), True),
        (5304, 145, tuple(TOPOLOGIES), False),
    ],
)
def test_what_is_said_of_networks_with_one_part_off(seed, megahertz, topologies, leads):
    rng = np.random.default_rng(seed)
    print(f"\n{megahertz:g} MHz, {len(topologies)} topologies, {'' if leads else 'no '}leads")
    print(f"load's SWR  {'  '.join(COLUMNS)}")
    for low, high in SWRS:
        count = dict.fromkeys(COLUMNS, 0)
        for _ in range(67):
            network, name, change, load, built, goal, made = drawn_with_goal(
                rng, low, high, megahertz / 14.2, topologies, leads
            )
            start = time.perf_counter()
            found = trim(network, goal.frequency, load, built, goal=goal)
            count["ms each"] += 1e3 * (time.perf_counter() - start) / 67
            count[found.verdict if found.verdict in count else "other"] += 1
            count["leave it"] += found.idle
            count["to no gain"] += not gains(found, goal, made)
            part = next(s for s in found.off or found.alone if s.name == name or found.off)
            if found.verdict == "one part":
                pull = abs(part.change - change) / part.standard_uncertainty
                count["right"] += part.name == name
                count["inside"] += part.name == name and pull < 1.96
            if found.verdict == "as designed":
                words = part.told().split()
                count["within"] += words[-1] != "%" or 100 * abs(change) < float(words[-2])
        cells = (f"{value:{len(title)}.0f}" for title, value in count.items())
        print(f"{low:4g} to {high:3g} {'  '.join(cells)}")


def gains(found, goal, made):
    """Whether what is to be done lowers the worst SWR of what was built in truth."""
    if not (found.promised_swr or 0) > 0:
        return True
    elements = list(made.elements)
    for one in found.off[: None if found.verdict in ("several parts", "leads") else 1]:
        old = elements[one.number]
        elements[one.number] = old.with_value(old.value / (1 + one.in_place[0]))
    mended = replace(made, elements=tuple(elements))
    band = (*goal.in_band(), goal.target_ohm)
    return mended.worst(*band) < made.worst(*band)
