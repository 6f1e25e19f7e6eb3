"""After building: a coil's own capacitance is not known, and no part is blamed for it."""

import numpy as np
import pytest

from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor
from rfcal.matching.trim import fit as trim_fit
from rfcal.matching.trim.verdict import trim
from rfcal.maths.reflection import from_impedance
from rfcal.uncertainty.quantity import Quantity, both_axes

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
