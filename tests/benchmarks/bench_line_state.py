"""What is said of freshly drawn lines: places, kinds and false events, counted.

Prints its own table; run with ``-s`` to see it.
"""

from collections import Counter

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.feedline.faults.events import FAULT
from rfcal.feedline.faults.kinds import RESISTIVE, SLOW, UNCLEAR
from rfcal.feedline.fit import FarEnds
from rfcal.feedline.measure import measure_line
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.findings.line.band import rings
from rfcal.record.findings.line.state import line_verdict
from rfcal.uncertainty.quantity import Quantity
from tests.unit.test_faults import foot, noisy
from tests.unit.test_line_state import random_rod, state

BANDS = {
    "1-160 MHz": np.linspace(1e6, 160e6, 401),
    "50-150 MHz": np.linspace(50e6, 150e6, 201),
    "140-152 MHz": np.linspace(140e6, 152e6, 121),
}
FAULTS = {
    "none": lambda rng, w: None,
    "series resistance": lambda rng, w: TwoPort.series(rng.uniform(10, 80) + 0 * w),
    "shunt resistance": lambda rng, w: TwoPort.shunt(1 / rng.uniform(30, 250) + 0 * w),
    "series inductance": lambda rng, w: TwoPort.series(w * rng.uniform(10e-9, 50e-9)),
    "shunt capacitance": lambda rng, w: TwoPort.shunt(w * rng.uniform(4e-12, 20e-12)),
    "series capacitance": lambda rng, w: TwoPort.series(1 / (w * rng.uniform(30e-12, 300e-12))),
}
LEFT_OPEN = {*UNCLEAR, SLOW}


def drawn(rng, frequency, fault, *, baseline, length, known):
    """What is said of a line with a fault, and where that is [m]."""
    z0 = 50.0 if known else 50 * (1 + 0.02 * rng.standard_normal())
    line = Line(rng.uniform(25, 80), 0.85, z0, rng.uniform(0.2, 0.8))
    resolution = 0.85 * SPEED_OF_LIGHT / 2 / np.ptp(frequency)
    clear = min(1.6 * resolution, 0.4 * line.length_m)
    place = rng.uniform(clear, line.length_m - clear)
    end = random_rod(rng, frequency) if rng.random() < 0.5 else rng.choice([1e9, 75.0, 50.0])
    near, far = (line.two_port(frequency, m) for m in (place, line.length_m - place))
    part = FAULTS[fault](rng, 2j * np.pi * frequency)
    load = end * np.ones(frequency.size)
    sound = from_impedance((near @ far).input_impedance(load))
    now = sound if part is None else from_impedance((near @ part @ far).input_impedance(load))
    stated = {"length_m": line.length_m} if length else {}
    taken = Line(0.0, 0.85, 50.0, line.conductor_db)
    then = sound if baseline else None
    found = state(rng, frequency, taken, now, then, loss_known=known, **stated)
    return found, place, line.length_m


def tally(rng, frequency, fault, cases, **given):
    """Counts over drawn lines."""
    count: Counter[str] = Counter()
    for _ in range(cases):
        found, place, length = drawn(rng, frequency, fault, **given)
        now = found.now
        of_place, truths = now.distance_uncertainty_m, [length]
        if fault != "none":
            truths.append(place)
            off = np.abs(now.distance_m - place)
            count["seen"] += bool(np.any(off < now.band.resolution))
            count["in its ±"] += bool(np.any(off < 2 * of_place))
            at = int(np.argmin(off)) if off.size else None
            told, fits = ("unknown", ()) if at is None else (now.kind[at], now.fits[at])
            # a resistance before an end that is not told is named with the step it may be
            twins = told in RESISTIVE and not {"open", "short"} & set(now.kind)
            count["kind right"] += told == fault and not twins
            count["listed"] += fault in fits or (told == fault and twins)
            count["kind wrong"] += told not in {fault, *LEFT_OPEN}
        said, alarm = line_verdict(found)
        count["alarm"] += alarm
        count["look"] += "look there" in said
        reach = np.maximum(1.5 * now.band.resolution, 2 * of_place)
        away = np.min(np.abs(now.distance_m[:, None] - truths), axis=1, initial=np.inf) > reach
        real = ~rings(found) & (now.distance_m < length)
        count["false"] += bool(np.any(away & real & (now.size > FAULT)))
    return count


@pytest.mark.parametrize("baseline", [False, True], ids=["alone", "baseline"])
@pytest.mark.parametrize("length", [False, True], ids=["length open", "length stated"])
@pytest.mark.parametrize("known", [False, True], ids=["z0 and loss open", "both stated"])
def test_what_is_said_of_drawn_lines(baseline, length, known):
    rng, cases = np.random.default_rng([2711, baseline, length, known]), 10
    heads = ("seen", "in its ±", "kind right", "listed", "kind wrong", "false", "alarm", "look")
    print(f"\n{cases} lines each, baseline {baseline}, length stated {length}, z0 and loss {known}")
    print(f"{'band':>12} {'fault':>20} " + " ".join(f"{head:>10}" for head in heads))
    for band, frequency in BANDS.items():
        for fault in FAULTS:
            given = {"baseline": baseline, "length": length, "known": known}
            count = tally(rng, frequency, fault, cases, **given)
            row = " ".join(f"{count[head]:>10}" for head in heads)
            print(f"{band:>12} {fault:>20} {row}")


def test_far_ends_that_were_exchanged():
    """Of lossy lines too, by narrow bands: told as exchanged, or as a line that fits."""
    rng, count = np.random.default_rng(2712), Counter()
    for low, high in ((28, 30), (140, 152), (144, 148), (430, 440)):
        for exchanged in (False, True) * 10:
            frequency = np.linspace(low, high, 121) * 1e6
            z0, conductor = rng.uniform(48, 52), rng.choice([0.4, 0.8, 1.6])
            line = Line(rng.uniform(8, 40), rng.uniform(0.64, 0.88), z0, conductor)
            ends = {
                -end if exchanged else end: Quantity(noisy(rng, foot(frequency, line, z), 0.0007))
                for end, z in ((1.0, 1e9), (-1.0, 1e-6))
            }
            swept = FarEnds(frequency, ends, 50.0, 0.02)
            try:
                found = measure_line(swept, velocity_factor=line.velocity_factor)
                told = "a line that fits" if found.fits else "misfit"
            except CalibrationError as error:
                told = "exchanged" if "half a turn" in str(error) else "refused otherwise"
            count[f"{low}-{high} MHz", exchanged, told] += 1
    for (band, exchanged, told), n in sorted(count.items()):
        print(f"{band:>12} {'exchanged' if exchanged else 'as named':>10}: {n:2d} {told}")
