"""Turns that nothing passive makes: none in drawn passive networks, in most of their conjugates."""

import numpy as np
import pytest

from rfcal.maths.causality import phase_of_loss
from rfcal.maths.reflection import from_impedance
from rfcal.models.line import SPEED_OF_LIGHT
from rfcal.record.findings.passivity import beyond_passive, turns_as_stated
from rfcal.uncertainty.curved_regions import region_of
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes
from rfcal.uncertainty.significance import far_off

NETWORKS = 300


def off_passive(f, reflection, noise=0.0005):
    """What is impossible of a reading as noisy as most, and off by a little throughout."""
    doubt = (*both_axes("noise", noise, per_point=True), *both_axes("rest", 0.002))
    rng = np.random.default_rng(int(1e9 * abs(reflection[0])))
    scatter = noise * (rng.standard_normal((2, f.size)) * np.array([[1], [1j]])).sum(0)
    return beyond_passive(f, Quantity(reflection + scatter, doubt))


def network(rng, f):
    """A ladder of up to six lossy parts and lines before a resistor."""
    w, z = 2 * np.pi * f, np.full(f.shape, np.exp(rng.uniform(0, 8)) + 0j)
    middle = float(np.mean(w))
    for _ in range(rng.integers(1, 7)):
        size, q = np.exp(rng.uniform(1, 7)), np.exp(rng.uniform(2, 6))
        part = size * (1j * w / middle + 1 / q)
        part = part if rng.uniform() < 0.5 else size * (middle / (1j * w) + 1 / q)
        match rng.integers(3):
            case 0:
                z = z + part
            case 1:
                z = 1 / (1 / z + 1 / part)
            case 2:
                t = np.tanh((0.02 + 1j * w / middle) * rng.uniform(0, 4))
                z = 75 * (z + 75 * t) / (75 + z * t)
    return from_impedance(z)


def test_passive_networks_make_none_and_most_conjugates_do():
    rng, told = np.random.default_rng(3), 0
    for _ in range(NETWORKS):
        middle, width = np.exp(rng.uniform(14.4, 20)), rng.choice([0.02, 0.3, 1.5])
        f = middle * np.linspace(1 - width / 2, 1 + width / 2, rng.integers(51, 202))
        x = network(rng, f)
        assert not off_passive(f, x)
        told += off_passive(f, np.conj(x)) > 0
    assert told > 0.7 * NETWORKS


def test_the_phase_of_loss_is_that_of_a_function_without_zeros_to_the_right():
    """Closed form: (s + 1)(s + 12) / ((s + 3)(s + 4)) has the least phase for its size."""
    f = np.geomspace(1e-4, 1e4, 800)
    s = 1j * f
    x = (s + 1) * (s + 12) / ((s + 3) * (s + 4))
    inside = slice(200, 600)
    found = (phase_of_loss(f) @ np.log(np.abs(x)))[inside]
    assert found == pytest.approx(np.angle(x)[inside], abs=1e-3)


@pytest.mark.parametrize(("metres", "wrong"), [(0.3, False), (-0.3, True)])
def test_what_turns_by_a_length_that_is_not_there_is_impossible(metres, wrong):
    """A resistor of 200 ohm before its plane, which no size of its reflection tells."""
    f = np.linspace(100e6, 200e6, 101)
    x = 0.6 * np.exp(-4j * np.pi * f * metres / 299_792_458.0)
    assert (off_passive(f, x) > 0) == wrong


def test_reactance_that_is_the_same_over_a_decade_needs_resistance_that_rises():
    """Neither a coil nor a capacitor does that, only what was corrected by another analyzer."""
    f = np.linspace(5e6, 50e6, 101)
    assert not off_passive(f, from_impedance(50 + 5j * f / 25e6))
    assert off_passive(f, from_impedance(np.full(101, 50 + 5j))) == pytest.approx(0.03, abs=0.02)


def test_a_length_that_is_much_in_doubt_explains_what_is_far_from_passive():
    """A capacitor from which a line was removed, whose length is off by what was stated."""
    f = np.linspace(35e6, 330e6, 101)
    per_length = -4j * np.pi * f / SPEED_OF_LIGHT
    x = from_impedance(1 + 1 / (2j * np.pi * f * 20e-12)) * np.exp(-0.1 * per_length)
    assert off_passive(f, x)
    doubt = (*both_axes("noise", 0.0005, per_point=True), Effect("length", 0.1 * per_length * x))
    assert not beyond_passive(f, Quantity(x, doubt))


FREQUENCY = np.linspace(200e6, 300e6, 41)
CHECK = Quantity(np.full(41, 0.4 + 0j), both_axes("definition", 0.002))


def behind_line(metres):
    """A check corrected by a line too long by so much, whose length is doubtful by 50 mm."""
    per_metre = -4j * np.pi * FREQUENCY / SPEED_OF_LIGHT
    seen = CHECK.value * np.exp(metres * per_metre)
    noise = both_axes("noise", 0.0005, per_point=True)
    return Quantity(seen, (Effect("length", 0.05 * per_metre * seen), *noise))


def test_a_check_turns_over_its_band_no_farther_than_one_length_explains():
    assert turns_as_stated(FREQUENCY, behind_line(0.1), CHECK, 1e-3)
    assert not turns_as_stated(FREQUENCY, behind_line(0.25), CHECK, 1e-3)


def test_honest_checks_seldom_turn_too_far():
    lengths = 0.05 * np.random.default_rng(3).standard_normal(2000)
    bad = [not turns_as_stated(FREQUENCY, behind_line(metres), CHECK, 0.01) for metres in lengths]
    assert np.mean(bad) < 0.01 + 4 * np.sqrt(0.01 / len(bad))


def test_a_length_shows_over_the_band_that_no_point_shows_by_itself():
    """15 mm in air below 40 MHz: at most 3 deviations of each point, of its angle nearly 6."""
    f = np.linspace(2e6, 40e6, 87)
    noise = both_axes("noise", 0.0007, per_point=True)
    rest = (*both_axes("connection", 0.003), *both_axes("definition", 0.002))
    turn = np.exp(-4j * np.pi * f * 0.015 / SPEED_OF_LIGHT)
    scatter = 0.0007 * (np.random.default_rng(2).standard_normal((2, 87)) * [[1], [1j]]).sum(0)
    for turned, told in ((1, False), (turn, True)):
        seen = Quantity(CHECK.value[0] * turned + scatter, (*noise, *rest))
        stated = Quantity(np.full(87, CHECK.value[0]))
        assert not far_off(region_of(seen).squared_distance_to(stated), 1e-3)
        assert turns_as_stated(f, seen, stated, 1e-3, figures=False) != told


@pytest.mark.parametrize("length_m", [10.0, 33.0, 34.5, 150.0])
def test_a_wide_sweep_through_a_long_line_is_passive(length_m):
    """From node to node its reflection turns nearly once, which looks like a slow turn back."""
    rng, f = np.random.default_rng(5), np.linspace(1e6, 160e6, 401)
    delay_s = 2 * length_m / (0.66 * SPEED_OF_LIGHT)
    through = np.exp(-2j * np.pi * f * delay_s - 0.005 * length_m * np.sqrt(f / 1e8))
    for _ in range(10):
        w, inductance, capacitance = 2 * np.pi * f, *rng.uniform([3e-7, 5e-12], [3e-6, 1e-10])
        antenna = rng.uniform(20, 90) + 1j * w * inductance + 1 / (1j * w * capacitance)
        assert not off_passive(f, from_impedance(antenna) * through)
