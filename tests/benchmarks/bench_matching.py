"""Ranking all topologies: time, growth with points and parts, against scipy's general optimiser.

Wanted: all topologies of 201 points in less than a second. Nothing is asserted.
"""

import time

import numpy as np
import pytest
from scipy.optimize import differential_evolution

from rfcal.matching.goal import Goal
from rfcal.matching.parts import Inductor, preferred, preferred_below
from rfcal.matching.ranking import rank
from rfcal.matching.stock import Stock
from rfcal.models.line import Line

STOCK = Stock(lines=(Line(1.0, 0.66, 50.0, 0.5), Line(1.0, 0.8, 75.0, 0.4)))
TWO, THREE = ("L",), ("pi", "T")


def goal(points: int) -> Goal:
    """An antenna's series resonance about 14 MHz, the whole sweep asked for."""
    frequency = np.linspace(13.9e6, 14.4e6, points)
    jw = 2j * np.pi * frequency
    load = 28.0 + jw * 5.2e-6 + 1 / (jw * 28e-12)
    return Goal(frequency, load, 14.15e6, (13.9e6, 14.4e6))


@pytest.mark.parametrize("points", [51, 201, 801, 3201])
def test_rank_all(benchmark, points):
    asked = goal(points)
    found = benchmark.pedantic(lambda: rank(asked, stock=STOCK), rounds=5, warmup_rounds=1)
    benchmark.extra_info.update(matching="all topologies", points=points, n=len(found.candidates))


@pytest.mark.parametrize("parts", [2, 3])
def test_rank_by_parts(benchmark, parts):
    asked, names = goal(201), TWO if parts == 2 else THREE
    run = lambda: rank(asked, stock=STOCK, topologies=names)  # noqa: E731
    found = benchmark.pedantic(run, rounds=5, warmup_rounds=1)
    benchmark.extra_info.update(
        matching=f"networks of {parts} parts", points=201, n=len(found.candidates)
    )


def by_general_optimiser(network, frequency, load):
    """The same objective over values in stock by scipy: four decades, or half a wave in mm."""
    elements = network.elements
    bounds = []
    for element in elements:
        if element.line is not None:
            bounds.append((1, int(500 * element.line.wavelength_m(frequency[0]))))
        else:
            decades = (-8, -4) if isinstance(element.part, Inductor) else (-12, -8)
            bounds.append(tuple(int(preferred_below(10.0**x)) for x in decades))

    def objective(index):
        values = [
            float(preferred(int(k))) if e.line is None else k * 1e-3
            for e, k in zip(elements, np.round(index), strict=True)
        ]
        return float(network.with_values(values).worst(frequency, load, 50.0))

    found = differential_evolution(objective, bounds, integrality=[True] * len(bounds), seed=1)
    return found.fun


def test_against_a_general_optimiser(benchmark):
    """Every network that is ranked; wanted is 50 times faster, or a better result."""
    asked = goal(201)
    frequency, load = asked.in_band()
    ranking = benchmark.pedantic(lambda: rank(asked, stock=STOCK), rounds=5, warmup_rounds=1)
    start = time.perf_counter()
    theirs = [by_general_optimiser(c.network, frequency, load) for c in ranking.candidates]
    faster = (time.perf_counter() - start) / benchmark.stats.stats.median
    ours = [float(c.network.worst(frequency, load, 50.0)) for c in ranking.candidates]
    benchmark.extra_info.update(matching="search", faster=faster, ours=ours, theirs=theirs)
