"""What the trim says of built networks with one part off, by the load's SWR: a table to be read.

Wanted: the part right wherever one is named, its value inside its 95 % in nearly all of them, and
"cannot tell" rare; what is to be done lowers the SWR in truth; what is called as designed lies
within what is said to be told; at once. Nothing is asserted; `pytest -s` prints it.
"""

import re
import time
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from rfcal.matching.topologies import TOPOLOGIES
from rfcal.matching.trim.verdict import trim
from rfcal.maths.reflection import from_impedance
from tests.built_networks import DIRECTIVITY, SOURCE, TRACKING, drawn_with_goal, measured, pair

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


@pytest.mark.parametrize(("seed", "times", "leads"), [(5305, 1, False), (5306, 10, True)])
def test_what_is_said_where_only_the_load_has_changed(seed, times, leads):
    """By 5 %, or by 5 pF across it at 14.2 MHz and 2 pF at 142: parts as designed.

    What it is said to touch brings the SWR down, and nearly always with the load named first. It is
    not where usual leads explain the readings too: in 8 of 240, to shorten them; and in 2 several
    parts are said to be off.
    """
    rng = np.random.default_rng(seed)
    print(f"\n{14.2 * times:g} MHz, {'' if leads else 'no '}leads, load changed: verdict, whether")
    print(
        "the load is named as what may have changed, and whether parts are to be touched, in vain"
    )
    for low, high in SWRS:
        count = Counter()
        for k in range(40):
            network, *_, goal, _ = drawn_with_goal(rng, low, high, times, ("L", "pi", "T"), leads)
            z, farad = goal.load, 5e-12 if times == 1 else 2e-12
            changed = z * rng.choice([0.95, 1.05]) if k % 2 else shunted(goal, farad)
            after = replace(goal, load=changed)
            errors = [pair(rng, deviation) for deviation in (DIRECTIVITY, SOURCE, TRACKING)]
            load = measured(rng, from_impedance(z), errors, "device")
            built = measured(rng, network.seen(goal.frequency, changed), errors, "after building")
            found = trim(network, goal.frequency, load, built, goal=goal)
            named = re.search("measure the load again|changed load", found.message)
            touched, vain = found.off and not found.idle, not gains(found, after, network)
            touch = ("touch, in vain" if vain else "touch") if touched else ""
            where = "" if found.off or found.verdict != "undecided" else " (more than one part)"
            count[found.verdict + where, "load named" if named else "load not named", touch] += 1
        for key, n in sorted(count.items()):
            print(f"{low:4g} to {high:3g} {n:3d} {', '.join(filter(None, key))}")


def shunted(goal, farad):
    """A load with capacitance across it [ohm]."""
    return 1 / (1 / goal.load + 2j * np.pi * goal.frequency * farad)


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
