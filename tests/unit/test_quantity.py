"""Quantities depend on each other by the names of their influences, and are read-only."""

from dataclasses import replace

import numpy as np
import pytest

from rfcal.errors import RfcalError
from rfcal.measurement.bench import Analyzer, Bench, Known, PathElement
from rfcal.measurement.deembedding import LineBySweeps
from rfcal.measurement.error_terms import self_correcting
from rfcal.measurement.propagate import propagate
from rfcal.models.line import Line
from rfcal.models.standards import Standard
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes, combine

ONE = np.ones(3, complex)


def deviation(quantity):
    return np.sqrt(quantity.covariance()[0, 0, 0])


def test_effects_of_one_influence_are_added_before_they_are_squared():
    first, second = Effect("resistance", 0.01 * ONE), Effect("resistance", 0.005 * ONE)
    both = Quantity(ONE, (first,)).plus(second)
    assert deviation(both) == pytest.approx(0.015)
    assert deviation(Quantity(ONE, (first,)).plus(first.scaled(0.5))) == pytest.approx(0.015)
    less = combine(ONE, (both, 2.0), (Quantity(ONE, (first,)), -1.0))
    assert deviation(less) == pytest.approx(0.02)
    assert both.by_source()["resistance"][0, 0, 0] == pytest.approx(0.015**2)
    assert both.common_changes() == pytest.approx(0.015 * ONE[None])
    drawn = both.draw(np.random.default_rng(1), 20_000)
    assert np.std(drawn.real) == pytest.approx(0.015, rel=0.02)


def test_other_names_are_other_influences_of_one_source():
    one = Effect("connection", 0.01 * ONE, influence="first")
    other = replace(one, influence="second")
    both = Quantity(ONE, (one, other))
    assert deviation(both) == pytest.approx(0.01 * np.sqrt(2))
    assert set(both.by_source()) == {"connection"}
    assert both.by_source()["connection"][0, 0, 0] == pytest.approx(2e-4)


def test_one_influence_is_drawn_once_whatever_object_tells_of_it():
    rng, drawn = np.random.default_rng(2), {}
    one, other = (Quantity(ONE, both_axes("plane", 0.1)).draw(rng, 50, drawn) for _ in range(2))
    assert np.array_equal(one, other)
    apart = Quantity(ONE, both_axes("another plane", 0.1)).draw(rng, 50, drawn)
    assert not np.any(apart == one)


def test_two_kinds_of_influence_of_one_name_are_refused():
    common, noise = Effect("noise", 0.1 * ONE), Effect("noise", 0.1 * ONE, per_point=True)
    with pytest.raises(RfcalError, match="two influences are named 'noise'"):
        Quantity(ONE, (common, noise))


def test_shapes_are_checked():
    with pytest.raises(RfcalError, match=r"the effect of 'drift' has the shape \(2,\)"):
        Quantity(ONE, (Effect("drift", ONE[:2]),))


def test_what_is_frozen_cannot_be_written_to():
    values = ONE.copy()
    quantity = Quantity(values, both_axes("plane", values))
    for array in (quantity.value, *(effect.change for effect in quantity.effects)):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 2
    values[0] = 2  # the caller's own array stays as it was


GRID = np.linspace(50e6, 60e6, 21)
BETWEEN = np.linspace(52.1e6, 57.3e6, 9)


def read(label, frequency, value):
    return Sweep(frequency, np.full(frequency.size, value, complex), 50.0, label)


def bench(**analyzer):
    raw = {"short": -0.95, "open": 0.93 + 0.1j, "load": 0.02}
    known = (Known(kind, Standard(kind), read(kind, GRID, value)) for kind, value in raw.items())
    return Bench(Analyzer(**analyzer), tuple(known))


def test_standards_are_one_influence_at_whatever_frequencies_and_however_often():
    """Two calibrations between the points, each built anew: what they share cancels."""
    exact = bench(noise=0.0, connection=0.0, drift=0.0)
    one, other = (
        propagate(exact.inputs(exact.at(exact.calibration(), BETWEEN), read("x", BETWEEN, 0.3)))
        for _ in range(2)
    )
    assert deviation(one) > 1e-3
    assert deviation(combine(one.value - other.value, (one, 1.0), (other, -1.0))) < 1e-15
    instruments = (
        propagate(
            Bench(Analyzer(0.0, 0.0, 0.0, {})).inputs(
                self_correcting(BETWEEN, directivity=0.01, source_match=0.02, tracking=0.01),
                read("x", BETWEEN, 0.3),
            )
        )
        for _ in range(2)
    )
    difference = combine(0 * one.value, *zip(instruments, (1.0, -1.0), strict=True))
    assert deviation(difference) < 1e-15


def test_every_reading_has_noise_drift_and_connections_of_its_own():
    whole = bench()
    here = whole.at(whole.calibration(), BETWEEN)
    ends = tuple(read(f"line, {end}", BETWEEN, x) for end, x in (("open", 0.4j), ("short", -0.5j)))
    path = (
        PathElement("line", ends),
        PathElement("jumper", Line(0.5, 0.66)),
    )
    steps = [whole.step(here, element) for element in path]
    inputs = whole.inputs(here, read("device", BETWEEN, 0.1), steps)
    quantities = [
        *(inputs.reading, inputs.connection),
        *(q for step in steps for pair in step.readings for q in pair),
        *(p for step in steps for p in step.parameters),
        *(*here.known, *here.seen),
    ]
    names = [effect.influence for quantity in quantities for effect in quantity.effects]
    assert len(names) == len(set(names))
    assert isinstance(steps[0].element, LineBySweeps)


def test_one_name_for_two_things_is_refused():
    whole = bench()
    here = whole.calibration()
    with pytest.raises(RfcalError, match="two standards are named 'load'"):
        replace(whole, standards=(*whole.standards, whole.standards[2])).calibration()
    with pytest.raises(RfcalError, match="'load' was read as a standard and is another reading"):
        whole.inputs(here, read("load", GRID, 0.5))
    own = whole.corrected(here, whole.standards[2].reading)[1]
    assert own.value == pytest.approx(0.0, abs=1e-12)
