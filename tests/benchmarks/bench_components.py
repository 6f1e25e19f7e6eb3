"""Fit and choice of all circuits against scipy's least squares on the same from the same starts."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from rfcal.components.circuits import CIRCUITS
from rfcal.components.fit import FitData, choose
from rfcal.uncertainty.quantity import Quantity, both_axes


def sweep_of(points):
    """A coil of 2.2 uH and 1.4 pF with noise, and what standards leave."""
    frequency = np.linspace(1e6, 150e6, points)
    w = 2 * np.pi * frequency
    wire = 1j * w * 2.2e-6 + (1 + 1j) * np.sqrt(frequency / 10e6)
    z = 1 / (1j * w * 1.4e-12 + 1 / wire)
    x = (z - 50) / (z + 50)
    effects = both_axes("noise", 0.0005, per_point=True)
    for k in range(8):
        effects += both_axes(f"standard {k}", 0.001, slope=x**k)
    read = Quantity(x, effects)
    value = read.draw(np.random.default_rng(1), 1)[0]
    return FitData(frequency, Quantity(value, effects), 50.0, points // 15)


def by_scipy(sweep):
    """Each circuit from its own start, both parts of each point over their deviation."""
    deviation = np.sqrt(sweep.reflection.variance())
    measured, u, found = sweep.reflection.value, sweep.u, {}
    for name, circuit in CIRCUITS.items():

        def misfit(p, circuit=circuit):
            left = (circuit.reflection(u, p) - measured) / deviation
            return np.concatenate([left.real, left.imag])

        with np.errstate(all="ignore"):
            start = circuit.start(u, circuit.immittance(measured))
            found[name] = least_squares(misfit, start, x_scale="jac", max_nfev=60)
    return found


@pytest.mark.parametrize("points", [201, 1601])
@pytest.mark.parametrize("way", [choose, by_scipy], ids=["own", "scipy"])
def test_fit_and_choice(benchmark, points, way):
    sweep = sweep_of(points)
    benchmark.extra_info["points"] = points
    benchmark.pedantic(way, args=(sweep,), rounds=5, warmup_rounds=1)
