"""Linear propagation against GTC point by point, Monte Carlo against drawing its random numbers."""

from dataclasses import replace
from functools import partial

import GTC
import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.measurement.error_terms import solve
from rfcal.measurement.propagate import Inputs, assess, impedance, propagate
from rfcal.models.standards import Standard
from rfcal.uncertainty.derived import derived, ends_of
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
    calibration = solve(frequency, names, known, seen)
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


def drawn(inputs, draws):
    """In pieces, so that memory does not grow with the draws."""
    rng, size = np.random.default_rng(1), 8192 // inputs.reading.value.size
    for _ in range(0, draws, size):
        inputs.draw(rng, size)


@pytest.mark.parametrize("points", [51, 201])
@pytest.mark.parametrize("draws", [10_000, 100_000])
@pytest.mark.parametrize("count", [3, 5])
def test_monte_carlo_rfcal(benchmark, count, draws, points):
    """Full budget; quantiles are timed apart."""
    inputs = session(points, count)
    benchmark.extra_info.update(monte_carlo=(count, draws, points), who="rfcal")
    run = partial(drawn, inputs, draws)
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
    """Batches of draws until their quantiles tell the verdict (JCGM 101, 7.9 and 8)."""
    inputs = session(201)
    found = derived(inputs.calibration.frequency, propagate(inputs), z_ref=50.0)
    run = partial(assess, inputs, ends_of(found), 50.0, np.random.default_rng(1))
    benchmark.extra_info["quantiles"] = 201
    benchmark.pedantic(run, rounds=1)
