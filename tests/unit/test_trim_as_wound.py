"""After building: a coil's own capacitance is not known, and no part is blamed for it."""

import numpy as np
import pytest

from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor
from rfcal.matching.trim import fit as trim_fit
from rfcal.matching.trim.verdict import trim
from rfcal.maths.reflection import from_impedance
from rfcal.uncertainty.quantity import Quantity, both_axes
from tests.built_networks import measured

FREQUENCY = np.linspace(65e6, 75e6, 61)
LOAD_OHM = 30 + 10j + 2e-6j * (FREQUENCY - 70e6)


def network(henry=47e-9, farad=33e-12, own=0.8e-12):
    parts = [("shunt", Capacitor(farad, 1e3)), ("series", Inductor(henry, 100.0, own))]
    return Network.of("L", parts)


def found(rng, coil, capacitor, own):
    made = network(47e-9 * coil, 33e-12 * capacitor, own)
    noise = 3e-4 * (rng.standard_normal((2, 61, 2)) @ [1, 1j])
    read = (from_impedance(LOAD_OHM), made.seen(FREQUENCY, LOAD_OHM, z_ref=50.0))
    load, built = (
        Quantity(value + error, both_axes(name, 3e-4, per_point=True))
        for name, value, error in zip("ab", read, noise, strict=True)
    )
    return trim(network(), FREQUENCY, load, built, z_ref=50.0)


@pytest.mark.parametrize("own", [0.0, 0.8e-12, 1.6e-12])
def test_a_network_as_designed_is_told_as_that_whatever_its_coil_holds(own, monkeypatch):
    rng = np.random.default_rng(31)
    assert found(rng, 1.0, 1.0, own).verdict == "as designed"
    if own != 0.8e-12:  # without that doubt a part is blamed
        monkeypatch.setattr(trim_fit, "MOST_ADDED", 1e-6 * trim_fit.MOST_ADDED)
        monkeypatch.setattr(trim_fit, "OWN", 1e-6)
        assert found(rng, 1.0, 1.0, own).verdict != "as designed"


@pytest.mark.parametrize("own", [0.0, 0.5e-12, 0.8e-12, 1.4e-12])
@pytest.mark.parametrize(("coil", "capacitor"), [(1.2766, 1.0), (0.9, 1.0), (1.0, 0.6667)])
def test_the_value_of_what_is_off_is_inside(own, coil, capacitor):
    rng = np.random.default_rng(32)
    verdict = found(rng, coil, capacitor, own)
    assert verdict.verdict == "one part"
    (off,) = verdict.off
    assert off.name == ("C1" if coil == 1 else "L1")
    true = (capacitor if coil == 1 else coil) - 1
    assert abs(off.change - true) < 2.2 * off.standard_uncertainty + 1e-3


def henry(turns, inside_m, wire_m, length_m):
    """By Wheeler's formula of 1928, in inches and microhenries: r^2 n^2 / (9 r + 10 l)."""
    r, long = (inside_m + wire_m) / 2 / 0.0254, length_m / 0.0254
    return 1e-6 * (r * turns) ** 2 / (9 * r + 10 * long)


@pytest.mark.parametrize(("at_mm", "cure"), [(13, "take 2 turns off L1"), (18, "take 1 turn off")])
def test_a_coil_that_was_not_drawn_out_is_looked_at_before_it_loses_turns(at_mm, cure):
    """Eight turns on 12 mm, told to be 26 mm long: with turns off, a ruler would prove it wrong."""
    frequency = np.linspace(28e6, 29e6, 81)
    load_ohm = 24 + 1j * (-38 + 440 * (frequency / 28.5e6 - 1))
    parts = [("shunt", Capacitor(110e-12, 1e3)), ("series", Inductor(360e-9, 100.0))]
    designed = Network.of("L", parts)
    made = designed.with_values([110e-12, henry(8, 12e-3, 1.5e-3, 1e-3 * at_mm)])
    rng, errors = np.random.default_rng(3), (0.0, 0.0, 0.0)
    load = measured(rng, from_impedance(load_ohm), errors, "device")
    built = measured(rng, made.seen(frequency, load_ohm), errors, "after building")
    goal = Goal(frequency, load_ohm, 28.5e6, (28.3e6, 28.7e6), 50.0, 1.5)
    said = trim(designed, frequency, load, built, goal=goal, ampere=[2.2, 2.9]).message
    first, then = said.split("; only if it was so already, ")
    assert first.endswith(
        "see first that L1 is 8 turns, 26 mm long, and draw it out to that if it is shorter "
        f"(at about {at_mm} mm it would read so)"
    )
    assert henry(8, 12e-3, 1.5e-3, 26e-3) == pytest.approx(360e-9, rel=0.01)
    assert then.startswith(cure)
    # and were it as told, what it becomes has its value by the same formula
    turns, long = (int(then.split(" turn")[0][-1]), float(then.split("bring it to ")[1].split()[0]))
    as_read = henry(8, 12e-3, 1.5e-3, 1e-3 * at_mm) / henry(8, 12e-3, 1.5e-3, 26e-3)
    becomes = as_read * henry(8 - turns, 12e-3, 1.5e-3, 1e-3 * long)
    assert becomes == pytest.approx(360e-9, rel=0.06)
