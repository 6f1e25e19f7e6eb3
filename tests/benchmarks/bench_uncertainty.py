"""Linear propagation against GTC point by point, Monte Carlo against drawing its random numbers."""

import GTC
import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.models.quantity import Quantity, both_axes
from rfcal.models.standards import Standard
from rfcal.tasks.calibration import calibrate
from rfcal.tasks.uncertainty import Inputs, impedance, in_chunks, propagate


def session(points: int) -> Inputs:
    frequency = np.linspace(50e6, 60e6, points)
    box = Bilinear.from_error_terms(
        np.full(points, 0.04 + 0.02j), np.full(points, 0.03j), np.full(points, 0.9 + 0.1j)
    )
    noise = both_axes("noise", 0.0005, per_point=True)
    connection = both_axes("connection", 0.001)
    known = [
        Standard(kind, uncertainty={"reflection": 0.002})
        .quantity(frequency, z_ref=50.0, name=kind)
        .plus(*connection)
        for kind in ("short", "open", "load")
    ]
    seen = [Quantity(box.apply(k.value), noise) for k in known]
    calibration = calibrate(frequency, ["short", "open", "load"], known, seen)
    reading = Quantity(box.apply(np.full(points, 0.3 - 0.2j)), noise)
    return Inputs(calibration, reading, Quantity(np.zeros(points, complex), connection))


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


@pytest.mark.parametrize("draws", [1_000, 10_000])
def test_monte_carlo_rfcal(benchmark, draws):
    inputs = session(201)
    benchmark.extra_info.update(uncertainty="monte carlo", who="rfcal", draws=draws)
    benchmark(lambda: sum(c.sum() for c in in_chunks(inputs, np.random.default_rng(1), draws)))


@pytest.mark.parametrize("draws", [1_000, 10_000])
def test_monte_carlo_bare_draws(benchmark, draws):
    """The same random numbers: noise of four readings at 201 points, 14 common ones."""

    def bare():
        rng = np.random.default_rng(1)
        for _ in range(0, draws, 40):
            for _ in range(8):
                rng.standard_normal((40, 201))
            rng.standard_normal((40, 14))

    benchmark.extra_info.update(uncertainty="monte carlo", who="numpy", draws=draws)
    benchmark(bare)
