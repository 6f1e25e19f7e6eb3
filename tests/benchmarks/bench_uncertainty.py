"""Linear propagation against GTC point by point, Monte Carlo against drawing its random numbers."""

import os
import subprocess
import sys
from dataclasses import replace
from functools import partial

import GTC
import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.measurement.error_terms import calibrate
from rfcal.measurement.model import Inputs, impedance, propagate
from rfcal.measurement.monte_carlo import adaptive, moments
from rfcal.models.standards import Standard
from rfcal.uncertainty.quantity import Quantity, both_axes

STANDARDS = {
    "short": Standard("short"),
    "open": Standard("open"),
    "load": Standard("load"),
    "25 ohm": Standard("load", resistance=25.0),
    "offset short": Standard("short", offset_delay=2e-9),
}


def session(points: int, count: int = 3) -> Inputs:
    frequency = np.linspace(50e6, 60e6, points)
    box = Bilinear.from_error_terms(
        np.full(points, 0.04 + 0.02j), np.full(points, 0.03j), np.full(points, 0.9 + 0.1j)
    )

    def read(true, name):
        return Quantity(box.apply(true), both_axes(f"{name}: noise", 0.0005, per_point=True))

    def connection(name):
        return both_axes(f"{name}: connection", 0.001)

    names = list(STANDARDS)[:count]
    known = [
        replace(STANDARDS[name], uncertainty={"reflection": 0.002})
        .quantity(frequency, z_ref=50.0, name=name)
        .plus(*connection(name))
        for name in names
    ]
    seen = [read(k.value, name) for k, name in zip(known, names, strict=True)]
    calibration = calibrate(frequency, names, known, seen)
    zero = Quantity(np.zeros(points, complex), connection("device"))
    return Inputs(calibration, read(np.full(points, 0.3 - 0.2j), "device"), zero)


def test_linear_rfcal(benchmark):
    inputs = session(1601)
    benchmark.extra_info.update(uncertainty="linear", who="rfcal", points=1601)
    benchmark(lambda: impedance(propagate(inputs), 50.0).covariance())


def test_linear_gtc(benchmark):
    points = 5
    inputs = session(points)
    quantities = [*inputs.calibration.known, *inputs.calibration.seen, inputs.reading]
    quantities.append(inputs.connection)
    covariances = [q.covariance().reshape(points, 4) for q in quantities]

    def one_by_one():
        return [
            gtc_chain(
                [
                    GTC.ucomplex(complex(q.value[i]), tuple(c[i]))
                    for q, c in zip(quantities, covariances, strict=True)
                ]
            )
            for i in range(points)
        ]

    benchmark.extra_info.update(uncertainty="linear", who="GTC", points=points)
    benchmark(one_by_one)


def gtc_chain(values):
    """Closed form through three points, in GTC's arithmetic, with the third as origin."""
    g1, g2, g3, m1, m2, m3, reading, connection = values
    h1, h2, n1, n2 = g1 - g3, g2 - g3, m1 - m3, m2 - m3
    u, v = n1 * h2, n2 * h1
    product, c, d = n1 * n2 * (h1 - h2), v - u, g1 * u - g2 * v
    a, b = m3 * c + product, m3 * d - g3 * product
    reflection = (d * reading - b) / (a - c * reading) - connection
    return GTC.variance(50 * (1 + reflection) / (1 - reflection))


@pytest.mark.parametrize("points", [51, 201])
@pytest.mark.parametrize("draws", [10_000, 100_000])
@pytest.mark.parametrize("count", [3, 5])
def test_monte_carlo_rfcal(benchmark, count, draws, points):
    """Full budget with its moments; quantiles are timed apart."""
    inputs = session(points, count)
    benchmark.extra_info.update(monte_carlo=(count, draws, points), who="rfcal")
    run = partial(moments, inputs, np.random.default_rng(1), draws)
    benchmark.pedantic(run, rounds=3 if draws < 100_000 else 1)


@pytest.mark.parametrize("points", [51, 201])
@pytest.mark.parametrize("draws", [10_000, 100_000])
@pytest.mark.parametrize("count", [3, 5])
def test_monte_carlo_bare_draws(benchmark, count, draws, points):
    """The same random numbers: noise of every reading at each point, and the common ones."""
    rng, size = np.random.default_rng(1), 8192 // points

    def bare():
        for _ in range(0, draws, size):
            for _ in range(2 * count + 2):
                rng.standard_normal((size, points))
            for _ in range(4 * count + 2):
                rng.standard_normal((size, 1))

    benchmark.extra_info.update(monte_carlo=(count, draws, points), who="numpy")
    benchmark.pedantic(bare, rounds=3 if draws < 100_000 else 1)


def test_monte_carlo_quantiles(benchmark):
    """Batches of draws kept until their quantiles stand still (JCGM 101, 7.9)."""
    inputs = session(201)
    run = partial(adaptive, inputs, 50.0, np.random.default_rng(1), most=100_000)
    benchmark.extra_info["quantiles"] = 201
    benchmark.pedantic(run, rounds=1)


@pytest.mark.skipif("RFCAL_LONG" not in os.environ, reason="minutes long: set RFCAL_LONG=1")
def test_a_million_draws_in_constant_memory():
    """1,601 points; a process of its own, so that its peak memory is its own."""
    code = (
        "import resource, numpy as np\n"
        "from tests.benchmarks.bench_uncertainty import session\n"
        "from rfcal.measurement.monte_carlo import moments\n"
        "told = []\n"
        "moments(session(1601), np.random.default_rng(1), 1_000_000,"
        " progress=lambda done, of: told.append(done))\n"
        "assert told[-1] == 1_000_000 and len(told) > 1000\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert int(done.stdout) * 1024 < 500e6
