"""Solve and correct against scikit-rf's OnePort in the same run; ratios, nothing asserted.

Run: ``python -m pytest tests/benchmarks -o python_files="bench_*.py"``.
"""

import numpy as np
import pytest
import skrf

from rfcal.maths.bilinear import Bilinear

POINTS = (201, 1601, 10_001, 100_001)
CASES = [(points, count) for count in (3, 5) for points in POINTS]


def session(points: int, count: int):
    """Random error box, standards spread over the chart, a device; all consistent."""
    rng = np.random.default_rng(points + count)

    def noise(size):
        return size * (rng.standard_normal(points) + 1j * rng.standard_normal(points))

    box = Bilinear.from_error_terms(noise(0.03), noise(0.03), 0.9 + noise(0.03))
    known = [v + noise(0.02) for v in (1.0, -1.0, 0.0, 1j, -0.5)[:count]]
    return known, [box.apply(k) for k in known], box.apply(noise(0.3))


@pytest.mark.parametrize(("points", "count"), CASES)
def test_rfcal(benchmark, points, count):
    known, seen, reading = session(points, count)
    benchmark.extra_info.update(points=points, count=count, who="rfcal")
    benchmark(lambda: Bilinear.fit(known, seen).correct(reading))


@pytest.mark.parametrize(("points", "count"), CASES)
def test_scikit_rf(benchmark, points, count):
    known, seen, reading = session(points, count)
    frequency = skrf.Frequency.from_f(np.arange(1, points + 1) * 1e3, unit="hz")

    def network(values):
        return skrf.Network(frequency=frequency, s=values[:, None, None], z0=50)

    ideals, measured = [network(k) for k in known], [network(s) for s in seen]
    device = network(reading)
    benchmark.extra_info.update(points=points, count=count, who="scikit-rf")
    benchmark.pedantic(
        lambda: skrf.calibration.OnePort(measured=measured, ideals=ideals).apply_cal(device),
        rounds=20 if points < 10_000 else 5,
        warmup_rounds=1,
    )
