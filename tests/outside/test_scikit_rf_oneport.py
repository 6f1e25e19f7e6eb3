"""Error terms and correction against scikit-rf 2.2's one-port calibration.

`skrf.calibration.OnePort` solves the same linear equations by numpy's least squares, with
equal weights; several thousand random error boxes, one per frequency, 1e-10.
"""

import numpy as np
import pytest
import skrf
from skrf.calibration import OnePort

from rfcal.maths.bilinear import Bilinear
from rfcal.measurement.error_terms import solve
from rfcal.uncertainty.quantity import Quantity

POINTS = 3000
FREQUENCY = np.linspace(1e6, 3e9, POINTS)
# around the chart, and one in its middle
PLACES = [1.0, -1.0, 0.05, 0.8j, -0.7j, 0.5 + 0.5j]


def disc(rng, radius, *shape):
    """Points spread evenly over a disc."""
    return radius * np.sqrt(rng.random(shape)) * np.exp(2j * np.pi * rng.random(shape))


def session(seed, count, noise=0.0):
    """Random boxes, standards near `PLACES`, a device anywhere on the chart, and readings."""
    rng = np.random.default_rng(seed)
    turn = np.exp(2j * np.pi * rng.random(POINTS))
    box = Bilinear.from_error_terms(
        disc(rng, 0.4, POINTS), disc(rng, 0.4, POINTS), turn * rng.uniform(0.5, 1.2, POINTS)
    )
    known = [place + disc(rng, 0.15, POINTS) for place in PLACES[:count]]
    seen = [box.apply(k) + disc(rng, noise, POINTS) for k in known]
    device = disc(rng, 1.0, POINTS)
    return box, known, seen, device, box.apply(device)


def network(reflection):
    band = skrf.Frequency.from_f(FREQUENCY, unit="Hz")
    return skrf.Network(frequency=band, s=reflection[:, None, None], z0=50)


def peer(known, seen, reading):
    """Error terms and corrected reading by scikit-rf."""
    calibration = OnePort(
        ideals=[network(k) for k in known], measured=[network(s) for s in seen], is_reciprocal=False
    )
    terms = calibration.coefs
    names = ("directivity", "source match", "reflection tracking")
    return [terms[n] for n in names], calibration.apply_cal(network(reading)).s[:, 0, 0]


@pytest.mark.parametrize(
    ("count", "noise"), [(3, 0.0), (3, 0.01), (4, 0.0), (5, 0.0), (6, 0.0), (4, 0.01), (6, 0.01)]
)
def test_calibration_against_scikit_rf(count, noise):
    """Noise makes the standards contradict each other: least squares, all weights equal."""
    box, known, seen, device, reading = session(count, count, noise)
    terms, corrected = peer(known, seen, reading)
    ours = solve(
        FREQUENCY,
        [f"standard {i}" for i in range(count)],
        [Quantity(k) for k in known],
        [Quantity(s) for s in seen],
    ).error_box
    assert ours.directivity == pytest.approx(terms[0], abs=1e-10)
    assert ours.source_match == pytest.approx(terms[1], abs=1e-10)
    assert ours.reflection_tracking == pytest.approx(terms[2], abs=1e-10)
    assert ours.correct(reading) == pytest.approx(corrected, abs=1e-10)
    if not noise:
        assert ours.correct(reading) == pytest.approx(device, abs=1e-10)
        assert ours.source_match == pytest.approx(box.source_match, abs=1e-10)
    elif count > 3:
        assert np.max(np.abs(ours.correct(reading) - device)) > 1e-3


@pytest.mark.parametrize("count", [4, 6])
def test_equal_weights_are_no_weights(count):
    _, known, seen, _, reading = session(9, count, 0.01)
    _, corrected = peer(known, seen, reading)
    equal = [np.full(POINTS, 7.0)] * count
    for weight in (None, equal):
        assert Bilinear.fit(known, seen, weight).correct(reading) == pytest.approx(
            corrected, abs=1e-10
        )
