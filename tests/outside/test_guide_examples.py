"""Complex quantities and their covariance against worked examples of guides.

Sources: JCGM 102:2011, clause 9.4 (read, recomputed); NIST Technical Note 1900, example E15
(inputs read, outputs value from memory, recomputed with GTC).
"""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.uncertainty import coverage
from rfcal.uncertainty.quantity import Effect, Quantity

FOLDER = Path(__file__).parents[1] / "reference"
REPEATS = json.loads((FOLDER / "jcgm102_9_4.json").read_text())
FOUR_S = json.loads((FOLDER / "nist_tn1900_e15.json").read_text())


def of_impedance(divisor_of_squares):
    """V / I exp(j phi) and the effects that six repeats, divided so, have on it."""
    volt, amp, phi = (np.array(REPEATS["data"][key]) for key in ("V_V", "I_A", "phi_rad"))
    value = volt.mean() / amp.mean() * np.exp(1j * phi.mean())
    slopes = value * np.array([1 / volt.mean(), -1 / amp.mean(), 1j])
    deviations = np.array([x - x.mean() for x in (volt, amp, phi)]) / np.sqrt(divisor_of_squares)
    effects = (Effect(f"repeat {i}", c) for i, c in enumerate(slopes @ deviations))
    return Quantity(np.array([value]), tuple(effects))


@pytest.mark.parametrize("kind", ["gaussian", "joint_t"])
def test_resistance_and_reactance_from_six_repeats(kind):
    """JCGM 102, clause 9.4: the two covariances differ by the root of five."""
    z = of_impedance(REPEATS[kind]["divisor_of_squares"])
    covariance = z.covariance()
    found = coverage.standard_uncertainty(covariance)[0]
    assert found == pytest.approx(REPEATS[kind]["published"]["u_r_x_z"][:2], abs=6e-4)
    assert found == pytest.approx(REPEATS[kind]["recomputed"]["u_r_x_z"][:2], rel=1e-6)
    # |Z| is the real part of Z turned onto the real axis
    turned = z.through(z.value, np.abs(z.value) / z.value).covariance()
    size = coverage.standard_uncertainty(turned)[0, 0]
    assert size == pytest.approx(REPEATS[kind]["published"]["u_r_x_z"][2], abs=6e-4)
    r = coverage.correlation(covariance)[0]
    assert r == pytest.approx(REPEATS["published"]["r_rx"], abs=6e-4)
    assert r == pytest.approx(REPEATS["recomputed"]["r_rx"], rel=1e-6)
    assert z.value[0].real == pytest.approx(REPEATS["recomputed"]["r"], rel=1e-8)
    assert z.value[0].imag == pytest.approx(REPEATS["recomputed"]["x"], rel=1e-8)


def reflection_of_four():
    """S22 - S12 S23 / S13 with the effects of four moduli and four arguments."""
    s = {k: v["modulus"] * np.exp(1j * v["radian"]) for k, v in FOUR_S["inputs"].items()}
    product = s["S12"] * s["S23"] / s["S13"]
    slope = {
        "S22": 1.0,
        "S12": -product / s["S12"],
        "S23": -product / s["S23"],
        "S13": product / s["S13"],
    }
    effects = []
    for name, given in FOUR_S["inputs"].items():
        along = given["u_modulus"] * s[name] / given["modulus"]
        across = 1j * s[name] * given["u_radian"]
        effects.append(Effect(f"{name}: modulus", slope[name] * along))
        effects.append(Effect(f"{name}: argument", slope[name] * across))
    return Quantity(np.array([s["S22"] - product]), tuple(effects))


def test_reflection_coefficient_from_scattering_parameters():
    """NIST TN 1900, E15: printed outputs are values from memory."""
    found = reflection_of_four()
    u = coverage.standard_uncertainty(found.covariance())[0]
    figures = {
        "re": found.value[0].real,
        "im": found.value[0].imag,
        "u_re": u[0],
        "u_im": u[1],
        "r": coverage.correlation(found.covariance())[0],
    }
    for name, value in figures.items():
        assert value == pytest.approx(FOUR_S["recomputed"][name], rel=2e-6), name
        digits = 3e-4 if name == "r" else 6e-5
        assert value == pytest.approx(FOUR_S["published"][name], abs=digits), name


def test_reflection_coefficient_by_drawing_its_effects():
    """NIST TN 1900, E15 by 2e6 draws elsewhere; 1e5 draws of ours agree within 1 %."""
    draws = reflection_of_four().draw(np.random.default_rng(15), 100_000)[:, 0]
    assert np.std(draws.real) == pytest.approx(FOUR_S["drawn"]["u_re"], rel=0.01)
    assert np.std(draws.imag) == pytest.approx(FOUR_S["drawn"]["u_im"], rel=0.01)
