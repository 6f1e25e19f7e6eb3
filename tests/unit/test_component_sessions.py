"""Whole sessions: standards off at random, drift, connections, noise; then a coil is fitted."""

import numpy as np

from rfcal.components.circuits import CIRCUITS
from rfcal.components.fit import FitData, fit
from rfcal.components.weighting import Weighting
from rfcal.maths.bilinear import Bilinear
from rfcal.measurement.bench import Analyzer, Bench, Known
from rfcal.models.standards import Standard
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import Quantity
from tests.unit.test_components import TRUE, truth

FREQUENCY = np.linspace(1e6, 100e6, 34)
TERMS = 0.03 * np.exp(-1j * FREQUENCY / 2e7), 0.04 + 0j, 0.95 * np.exp(-1j * FREQUENCY / 3e7)
WORTH = Analyzer(noise=0.0005, connection=0.001, drift=0.0005)
KINDS = ("short", "open", "load")


def test_a_coils_values_are_covered_in_whole_sessions():
    rng, sessions = np.random.default_rng(11), 500

    def off(deviation, points=1):
        return deviation * (rng.standard_normal(points) + 1j * rng.standard_normal(points))

    def read(terms, reflection, label):
        shown = Bilinear.from_error_terms(*np.broadcast_arrays(*terms)).apply(reflection)
        return Sweep(FREQUENCY, shown + off(WORTH.noise, FREQUENCY.size), 50.0, label)

    usual = [Known(k, Standard(k), read(TERMS, 0 * FREQUENCY, k)) for k in KINDS]
    connected = [item.quantity(FREQUENCY, 50.0).draw(rng, sessions) for item in usual]
    circuit = CIRCUITS["coil"]
    empty = FitData(FREQUENCY, Quantity(0j * FREQUENCY), 50.0, 3)
    exact, true = circuit.reflection(empty.u, np.array(TRUE["coil"])), truth("coil", empty)
    inside, describes = dict.fromkeys(true, 0), 0
    for drawn in zip(*connected, strict=True):
        standards = tuple(
            Known(k, Standard(k), read(TERMS, x + off(WORTH.connection), k))
            for k, x in zip(KINDS, drawn, strict=True)
        )
        bench = Bench(WORTH, standards)
        e00, e11, tracking = TERMS
        later = e00 + off(WORTH.drift), e11 + off(WORTH.drift), tracking * (1 + off(WORTH.drift))
        shown = read(later, exact + off(WORTH.connection), "coil")
        _, reflection = bench.corrected(bench.calibration(), shown)
        sweep = FitData(FREQUENCY, reflection, 50.0, 3)
        found = fit("coil", sweep, Weighting.of(reflection))
        describes += found.describes
        figures = found.figures()
        for key, value in true.items():
            inside[key] += bool(figures[key].low[0] <= value <= figures[key].high[0])
    shares = np.array(list(inside.values())) / sessions
    assert np.all((shares >= 0.919) & (shares <= 0.977)), inside
    assert describes >= 0.99 * sessions
