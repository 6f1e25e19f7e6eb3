"""Adding and removing a line at 100,001 points against scikit-rf in the same run."""

import numpy as np
import pytest
import skrf

from rfcal.maths.bilinear import Bilinear
from rfcal.models.line import Line

POINTS = 100_001
FREQUENCY = np.linspace(1e6, 1e9, POINTS)
LINE = Line(14.2, 0.83, 50.0, 0.4)


def device() -> np.ndarray:
    rng = np.random.default_rng(1)
    return 0.3 * (rng.standard_normal(POINTS) + 1j * rng.standard_normal(POINTS))


def networks():
    frequency = skrf.Frequency.from_f(FREQUENCY, unit="hz")
    media = skrf.media.DefinedGammaZ0(
        frequency, gamma=LINE.propagation(FREQUENCY), z0=LINE.impedance(FREQUENCY), z0_port=50
    )
    load = skrf.Network(frequency=frequency, s=device()[:, None, None], z0=50)
    return media.line(14.2, "m"), load


def through() -> Bilinear:
    return LINE.two_port(FREQUENCY).bilinear(50.0)


@pytest.mark.parametrize("task", ["adding", "removing"])
@pytest.mark.parametrize("who", ["rfcal", "scikit-rf"])
def test_line(benchmark, who, task):
    benchmark.extra_info.update(line=task, member=who)
    if who == "rfcal":
        box, x = through(), device()
        run = (lambda: box.apply(x)) if task == "adding" else (lambda: box.correct(x))
    else:
        line, load = networks()
        run = (lambda: line**load) if task == "adding" else (lambda: line.inv**load)
    benchmark.pedantic(run, rounds=7, warmup_rounds=1)
