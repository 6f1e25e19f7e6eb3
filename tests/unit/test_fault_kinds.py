"""Kinds of events over random faults and ends: named where they can be told, and only there.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from rfcal.feedline.faults.events import find_events
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import SPEED_OF_LIGHT, Line
from tests.unit.test_faults import antenna, chain, guess, noisy

NO_CLAIM = {"mismatch", "unknown"}
LUMPED = ("shunt resistance", "series resistance", "series inductance", "shunt capacitance")
FAULTS = (*LUMPED, "stretch of lower impedance", "stretch of higher impedance", "series RC", "none")
ENDS = ("open", "short", "matched", "antenna", "100 ohm")
RIGHT = {"end: open": "open", "end: short": "short", "series RC": "series capacitance"}
"""What may be said; a torn conductor is one that is broken, whatever resistance is left."""


def lumped(rng, kind, frequency):
    w, one = 2j * np.pi * frequency, np.ones(frequency.size)
    if kind == "shunt resistance":
        return TwoPort.shunt(one / rng.uniform(20, 600))
    if kind == "series resistance":
        return TwoPort.series(one * rng.uniform(3, 150))
    if kind == "series inductance":
        return TwoPort.series(w * rng.uniform(2e-9, 20e-9))
    if kind == "shunt capacitance":
        return TwoPort.shunt(w * rng.uniform(1e-12, 8e-12))
    # a torn centre: it has resistance and a gap
    return TwoPort.series(rng.uniform(3, 30) + 1 / (w * 200e-12))


def mixed_case(rng, loss_known):
    """Events of a random line, and what is at its fault and at its end."""
    top = rng.choice([60e6, 150e6, 300e6])
    frequency = np.linspace(1e6, top, int(rng.choice([201, 401])))
    line = Line(rng.uniform(20, 40), rng.choice([0.66, 0.85]), 50.0, rng.choice([0.3, 0.5, 1.4]))
    resolution = line.velocity_factor * SPEED_OF_LIGHT / 2 / top
    kind, end = str(rng.choice(FAULTS)), str(rng.choice(ENDS))
    place = rng.uniform(4 * resolution, line.length_m - 4 * resolution)
    first, rest = (replace(line, length_m=m) for m in (place, line.length_m - place))
    parts, stretch = [first.two_port(frequency)], 0.0
    if kind.startswith("stretch"):
        stretch = min(rng.uniform(0.5, 6) * resolution, 0.7 * rest.length_m)
        z0 = rng.uniform(25, 45) if "lower" in kind else rng.uniform(56, 100)
        parts += [replace(line, length_m=stretch, z0=z0).two_port(frequency)]
    elif kind != "none":
        parts += [lumped(rng, kind, frequency)]
    parts += [replace(rest, length_m=rest.length_m - stretch).two_port(frequency)]
    loads = {"open": 1e9, "short": 1e-6, "matched": 50.0, "100 ohm": 100.0}
    load = antenna(frequency) if end == "antenna" else np.full(frequency.size, loads[end])
    whole = parts[0]
    for part in parts[1:]:
        whole = whole @ part
    seen = noisy(rng, from_impedance(whole.input_impedance(load)), 0.0005)
    known = guess(frequency, seen, line, loss_known)
    found = find_events(frequency, seen, known, loss_known=loss_known)
    off = found.distance_m - place
    here = (off > -1.5 * resolution) & (off < stretch + 1.5 * resolution) & (kind != "none")
    there = ~here & (np.abs(found.distance_m - line.length_m) < 1.5 * resolution)
    named = np.array(found.kind)
    return kind, end, set(named[here]), set(named[there])


def tally(rng, cases, loss_known):
    """How often what is named is right, left open or wrong, for each fault and each end."""
    count = Counter()
    for _ in range(cases):
        kind, end, here, there = mixed_case(rng, loss_known)
        for what, told in ((kind, here), (f"end: {end}", there)):
            right = RIGHT.get(what, what)
            wrong = told - NO_CLAIM - {right}
            count[what, "wrong" if wrong else "right" if right in told else "left open"] += 1
    return count


@pytest.mark.parametrize("loss_known", [True, False])
def test_kinds_are_told_where_they_can_be_and_only_there(loss_known):
    count = tally(np.random.default_rng(8), 150 if loss_known else 60, loss_known)
    wrong = {what: n for (what, verdict), n in count.items() if verdict == "wrong"}
    assert sum(wrong.values()) <= 2, wrong
    told = sum(count[kind, "right"] for kind in LUMPED)
    assert told > 0.7 * sum(n for (what, _), n in count.items() if what in LUMPED)


@pytest.mark.parametrize("share", [0.7, 1.2])
def test_an_unresolved_stretch_is_no_reactance(share):
    frequency = np.linspace(1e6, 60e6, 201)
    length = share * 0.8 * SPEED_OF_LIGHT / 2 / 59e6
    seen = chain(frequency, 1e9, (18, 50.0), (length, 75.0), (20, 50.0))
    found = find_events(frequency, seen, Line(1.0, 0.8, 50.0, 0.4))
    near = np.abs(found.distance_m - 18) < 2 * found.band.resolution
    assert near.any()
    assert set(np.array(found.kind)[near]) <= NO_CLAIM


@pytest.mark.parametrize("top", [150e6, 300e6])
def test_a_smooth_wet_stretch_is_no_single_fault_where_it_begins_and_ends(top):
    """Its impedance falls by a tenth over 4 m and comes back: only its corners reflect."""
    frequency, drop = np.linspace(1e6, top, 401), 1 - np.abs(np.linspace(-1, 1, 81))
    wet = [(0.1, 50 * (1 - 0.1 * share)) for share in drop]
    seen = noisy(
        np.random.default_rng(3), chain(frequency, 1e9, (12, 50.0), *wet, (16, 50.0)), 0.0005
    )
    found = find_events(frequency, seen, Line(1.0, 0.8, 50.0, 0.4))
    kinds = np.array(found.kind)
    within = (found.distance_m > 11) & (found.distance_m < 21.5)
    assert np.sum(within) >= 2
    assert set(kinds[within]) <= {"slow change", "mismatch"}
    assert set(kinds[~within]) <= {"open", "mismatch", "unknown"}
