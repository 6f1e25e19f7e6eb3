"""Equivalent circuits: truth found again, nothing shrunk that points share, honest intervals."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit

from rfcal.components.circuits import CIRCUITS
from rfcal.components.fit import FitData, choose, fit
from rfcal.components.weighting import Weighting
from rfcal.uncertainty.quantity import Quantity, both_axes

# In parts of 50 ohm at the middle of a sweep from 1 to 100 MHz.
MIDDLE = 2 * np.pi * 10e6
TRUE = {
    "capacitor": (0.004, MIDDLE * 2e-9 / 50, 1 / (MIDDLE * 100e-12 * 50)),
    "coil": (MIDDLE * 2.2e-6 / 50, MIDDLE * 1.8e-12 * 50, 0.02),
    "resistor": (2.0, 0.02, 0.004),
    "series resonator": (0.1, MIDDLE * 1e-6 / 50, 1 / (MIDDLE * 100e-12 * 50)),
    "parallel resonator": (50 / 2000, MIDDLE * 30e-12 * 50, 50 / (MIDDLE * 1e-6)),
    "cored coil": (MIDDLE * 2.2e-6 / 50, MIDDLE * 1.8e-12 * 50, 0.2, 1.2),
    "open line": (1.5, 0.5, 0.01),
    "shorted line": (1.5, 0.5, 0.01),
    "antenna": (0.1, MIDDLE * 1e-6 / 50, 1 / (MIDDLE * 100e-12 * 50), 0.5),
}
TRUE["shunted antenna"] = (*TRUE["antenna"], MIDDLE * 20e-12 * 50)


def known_to(reflection, noise=0.0005, common=1.0):
    """A reflection with noise and with what standards leave, common to all frequencies."""
    slopes = {"open": (1 + reflection) ** 2 / 4, "short": (1 - reflection) ** 2 / 4}
    effects = both_axes("noise", noise, per_point=True)
    for name, slope in slopes.items():
        effects += both_axes(name, 0.002 * common, slope=slope)
    effects += both_axes("load", 0.003 * common, slope=1 - reflection**2)
    return Quantity(reflection, effects)


def sweep_of(name, points=101, **doubt):
    frequency = np.linspace(1e6, 100e6, points)
    empty = FitData(frequency, Quantity(np.zeros(points, complex)), 50.0, points // 10)
    exact = CIRCUITS[name].reflection(empty.u, np.array(TRUE[name]))
    return replace(empty, reflection=known_to(exact, **doubt))


def truth(name, sweep):
    return {
        key: float(wanted.outer(np.asarray(wanted.inner(TRUE[name], sweep.scale))))
        for key, wanted in CIRCUITS[name].figures.items()
    }


def test_figures_are_those_of_the_parts_by_closed_forms():
    """F = 1 / (2 pi sqrt(L C)); of a resonator Q = sqrt(L / C) / R or its dual, and f / Q wide."""

    def resonance(henry, farad):
        return 1 / (2 * np.pi * np.sqrt(henry * farad))

    coil = {
        "inductance": 2.2e-6,
        "self_capacitance": 1.8e-12,
        "self_resonance": resonance(2.2e-6, 1.8e-12),
    }
    series, parallel = resonance(1e-6, 100e-12), resonance(1e-6, 30e-12)
    radiated = 25 * (series / 10e6) ** 2
    tuned = {"resonance": series, "inductance": 1e-6, "capacitance": 100e-12}
    by_hand = {
        "capacitor": {
            "capacitance": 100e-12,
            "esl": 2e-9,
            "esr": 0.2,
            "self_resonance": resonance(2e-9, 100e-12),
        },
        "coil": coil,
        "cored coil": coil,
        "series resonator": {**tuned, "q": 100 / 5, "bandwidth": series / 20},
        "parallel resonator": {
            "resistance": 2000,
            "inductance": 1e-6,
            "capacitance": 30e-12,
            "resonance": parallel,
            "q": 2000 * np.sqrt(30e-12 / 1e-6),
            "bandwidth": 1 / (2 * np.pi * 2000 * 30e-12),
        },
        "antenna": {**tuned, "radiation_resistance": radiated, "q": 100 / (5 + radiated)},
        "open line": {"z0": 75, "delay": 0.5 / MIDDLE, "resonance": MIDDLE / 2},
    }
    for name, figures in by_hand.items():
        found = truth(name, sweep_of(name))
        for key, value in figures.items():
            assert found[key] == pytest.approx(value, rel=1e-9), (name, key)


@pytest.mark.parametrize("name", TRUE)
def test_what_was_exact_is_found_exactly_and_called_by_its_name(name):
    sweep = sweep_of(name)
    found = choose(sweep)
    assert found.chosen.name == name
    np.testing.assert_allclose(found.chosen.values(), TRUE[name], rtol=1e-4, atol=1e-7)
    for key, value in truth(name, sweep).items():
        figure = found.chosen.figures()[key]
        assert figure.value[0] == pytest.approx(value, rel=1e-3)
        assert figure.low[0] <= value <= figure.high[0]


def test_what_points_share_does_not_shrink_by_their_number():
    few, many = (sweep_of("coil", points, noise=1e-7) for points in (51, 801))
    widths = [
        fit("coil", s, Weighting.of(s.reflection)).figures()["inductance"] for s in (few, many)
    ]
    few, many = ((w.high - w.low)[0] for w in widths)
    assert many == pytest.approx(few, rel=0.1)


def test_noise_alone_is_as_uncertain_as_scipy_says():
    sweep = sweep_of("series resonator", common=0.0)
    circuit = CIRCUITS["series resonator"]

    def both_parts(u, *p):
        reflection = circuit.reflection(u, np.array(p))
        return np.concatenate([reflection.real, reflection.imag])

    measured = sweep.reflection.value
    _, covariance = curve_fit(
        both_parts,
        sweep.u,
        np.concatenate([measured.real, measured.imag]),
        p0=TRUE["series resonator"],
        sigma=np.full(2 * sweep.u.size, 0.0005),
        absolute_sigma=True,
    )
    own = fit("series resonator", sweep, Weighting.of(sweep.reflection)).parameters
    changes = np.array([effect.change.real for effect in own.effects if "noise" in effect.source])
    np.testing.assert_allclose(changes.T @ changes, covariance, rtol=1e-3, atol=1e-12)


@pytest.mark.parametrize("name", ["capacitor", "parallel resonator"])
def test_intervals_of_values_cover_what_they_say(name):
    sweep, rng, sessions = sweep_of(name, 21), np.random.default_rng(5), 500
    drawn, true = sweep.reflection.draw(rng, sessions), truth(name, sweep)
    inside = dict.fromkeys(true, 0)
    for values in drawn:
        seen = replace(sweep, reflection=known_to(values))
        found = fit(name, seen, Weighting.of(seen.reflection)).figures()
        for key, value in true.items():
            inside[key] += bool(found[key].low[0] <= value <= found[key].high[0])
    shares = np.array(list(inside.values())) / sessions
    assert np.all((shares >= 0.919) & (shares <= 0.977)), inside


def test_a_resonance_outside_the_sweep_is_no_value():
    frequency = np.linspace(1e6, 30e6, 101)
    w = 2 * np.pi * frequency
    z = 0.1 + 1j * w * 2e-9 + 1 / (1j * w * 100e-12)
    found = choose(FitData(frequency, known_to((z - 50) / (z + 50)), 50.0))
    assert found.chosen.name == "capacitor"
    assert found.unseen_resonance
    assert "self_resonance" not in found.figures


def test_of_a_resonator_out_of_sight_only_its_elements_are_told():
    frequency = np.linspace(1e6, 12e6, 101)
    w = 2 * np.pi * frequency
    z = 5 + 1j * w * 1e-6 + 1 / (1j * w * 100e-12)
    found = choose(FitData(frequency, known_to((z - 50) / (z + 50)), 50.0), "series resonator")
    assert found.unseen_resonance
    assert set(found.figures) == {"resistance", "inductance", "capacitance"}


def test_what_no_circuit_describes_has_no_values():
    frequency = np.linspace(1e6, 100e6, 101)
    u = frequency / 30e6
    y = 1 / (0.1 + 1j * (u - 1 / u)) + 1 / (0.2 + 2j * (u / 2 - 2 / u))
    found = choose(FitData(frequency, known_to((1 - y) / (1 + y)), 50.0))
    assert found.chosen is None
    assert found.reason == "misfit"
    assert not found.figures


def test_a_part_that_gives_power_has_no_values():
    frequency = np.linspace(1e6, 100e6, 101)
    z = -5 + 1 / (1j * 2 * np.pi * frequency * 100e-12)
    found = choose(FitData(frequency, known_to((z - 50) / (z + 50)), 50.0), "capacitor")
    assert (found.chosen, found.reason) == (None, "negative")


def test_few_points_fit_no_circuit():
    sweep = sweep_of("coil", 4)
    found = choose(sweep)
    assert (found.chosen, found.reason, found.fits) == (None, "points", ())


def test_a_scatter_larger_than_stated_widens_what_is_told():
    quiet = sweep_of("coil", noise=1e-5)
    values = known_to(quiet.reflection.value, noise=5e-5, common=0.0)
    drawn = values.draw(np.random.default_rng(1), 1)[0]
    found = choose(replace(quiet, reflection=known_to(drawn, noise=1e-5)))
    assert found.chosen.name == "coil"
    assert found.scatter == pytest.approx(5, rel=0.2)
