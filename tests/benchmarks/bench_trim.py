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

from rfcal.matching.goal import Goal
from rfcal.matching.ranking import rank
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import TOPOLOGIES
from rfcal.matching.trim.verdict import trim
from rfcal.maths.reflection import from_impedance
from tests.built_networks import DIRECTIVITY, SOURCE, TRACKING, drawn_with_goal, measured, pair

SWRS = ((1.6, 5), (5, 25), (25, 100))
COLUMNS = (
    "one part",
    "right",
    "inside",
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
            named = re.search(
                "measure the load again|load that has changed|changed load", found.message
            )
            touched, vain = found.off and not found.idle, not gains(found, after, network)
            touch = ("touch, in vain" if vain else "touch") if touched else ""
            where = "" if found.off or found.verdict != "undecided" else " (more than one part)"
            count[found.verdict + where, "load named" if named else "load not named", touch] += 1
        for key, n in sorted(count.items()):
            print(f"{low:4g} to {high:3g} {n:3d} {', '.join(filter(None, key))}")


@pytest.mark.parametrize("kind", ["R", "X", "tuned", "all of these, half as much"])
@pytest.mark.parametrize(
    ("low_hz", "high_hz", "points"), [(13e6, 15.4e6, 81), (13.9e6, 14.5e6, 41)]
)
def test_how_often_a_sound_part_is_accused_of_what_an_antenna_does(kind, low_hz, high_hz, points):
    """R by 5 to 15 %, X by 2 to 10 ohm, tuned by 0.5 to 3 %: under 2 % without the load named."""
    rng, count, frequency = (
        np.random.default_rng(5307),
        Counter(),
        np.linspace(low_hz, high_hz, points),
    )
    for _ in range(60):
        network, goal, changed = antenna_and_network(rng, frequency, kind)
        errors = [pair(rng, deviation) for deviation in (DIRECTIVITY, SOURCE, TRACKING)]
        load = measured(rng, from_impedance(goal.load), errors, "device")
        built = measured(rng, network.seen(frequency, changed), errors, "after building")
        found = trim(network, frequency, load, built, goal=goal)
        count[bool(found.off), "load" in found.message] += 1
    told = [count[True, named] for named in (False, True)]
    print(
        f"\n{kind}, {low_hz / 1e6:g} to {high_hz / 1e6:g} MHz: {told[0]} of 60 accused alone, ",
        end="",
    )
    print(f"{told[1]} beside the load")


def antenna_and_network(rng, frequency, kind):
    """A resonant antenna, its network and what it has become [ohm]."""
    while True:
        ohm, q, x = np.exp(rng.uniform(np.log(10), np.log(150))), *rng.uniform((4, -15), (25, 15))
        tuned_hz = 14.2e6 * (1 + rng.uniform(-0.03, 0.03))
        z = antenna(frequency, ohm, q, x, tuned_hz)
        goal = Goal(frequency, z, 14.2e6, (14.15e6, 14.25e6), 50.0, 1.5)
        found = rank(goal, stock=Stock(), topologies=("L", "pi", "T")).candidates
        if found:
            break
    r, more, by = rng.choice([-1, 1], 3) * rng.uniform((0.05, 2, 0.005), (0.15, 10, 0.03))
    r, more, by = (
        v * (kind == k or len(kind) > 5) / (1 + (len(kind) > 5))
        for k, v in zip(("R", "X", "tuned"), (r, more, by), strict=True)
    )
    now = antenna(frequency, ohm, q, x + more, tuned_hz * (1 + by))
    return found[int(rng.integers(min(len(found), 4)))].network, goal, now + r * now.real


def antenna(frequency, ohm, q, x, tuned_hz):
    """A series resonance whose radiation grows with frequency [ohm]."""
    t = frequency / tuned_hz
    return ohm * (0.2 + 0.8 * t**2) + 1j * (ohm * q * (t - 1 / t) + x)


def shunted(goal, farad):
    """A load with capacitance across it [ohm]."""
    return 1 / (1 / goal.load + 2j * np.pi * goal.frequency * farad)


def gains(found, goal, made):
    """Whether what is to be done lowers the worst SWR of what was built in truth."""
    if not (found.promised_swr or 0) > 0 or "to the lowest SWR over the band, per" in found.message:
        return True
    elements = list(made.elements)
    for one in found.off[: None if found.verdict in ("several parts", "leads") else 1]:
        old = elements[one.number]
        elements[one.number] = old.with_value(old.value / (1 + one.in_place[0]))
    mended = replace(made, elements=tuple(elements))
    band = (*goal.in_band(), goal.target_ohm)
    return mended.worst(*band) < made.worst(*band)
