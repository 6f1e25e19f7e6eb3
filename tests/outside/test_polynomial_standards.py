"""Polynomial calibration standards against their table, and against scikit-rf's media.

Source of the definitions: two coaxial kits as a public example of scikit-rf quotes them.
"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import skrf

from rfcal.models.standards import Standard

FOLDER = Path(__file__).parents[1] / "reference"
KIT = json.loads((FOLDER / "polynomial_standards.json").read_text())
with (FOLDER / "polynomial_standards.csv").open(newline="") as file:
    ROWS = list(csv.DictReader(file))
NAMES = list(KIT["definitions"])


def standard(definition):
    return Standard(
        definition["kind"],
        inductance=tuple(definition.get("inductance", [0.0])),
        capacitance=tuple(definition.get("capacitance", [0.0])),
        offset_delay=definition["offset_delay_s"],
        offset_loss=definition["offset_loss_ohm_per_s"],
        offset_z0=definition["offset_z0_ohm"],
    )


def column(rows, name):
    return np.array([complex(float(r[f"{name}_re"]), float(r[f"{name}_im"])) for r in rows])


@pytest.mark.parametrize("name", NAMES)
def test_table_of_thirteen_frequencies(name):
    """Recomputed elsewhere in both forms; ours is the one of first order in the loss."""
    rows = [row for row in ROWS if row["standard"] == name]
    frequency = np.array([float(row["frequency_hz"]) for row in rows])
    ours = standard(KIT["definitions"][name]).reflection(frequency)
    assert frequency.size == 13
    assert ours == pytest.approx(column(rows, "low_loss"), abs=1e-12)
    apart = np.max(np.abs(ours - column(rows, "exact")))
    assert apart == pytest.approx(KIT["largest_difference_exact_low_loss"][name], rel=0.03)


def behind_line(frequency, termination_ohm, z0, propagation_length, z_ref):
    """Reflection of a termination behind a line, by scikit-rf alone."""
    band = skrf.Frequency.from_f(frequency, unit="Hz")
    medium = skrf.media.DefinedGammaZ0(band, z0_port=z_ref, z0=z0, gamma=propagation_length)
    end = skrf.Network(frequency=band, z=termination_ohm[:, None, None], z0=z_ref)
    return (medium.line(1, "m") ** end).s[:, 0, 0]


@pytest.mark.parametrize("z_ref", [50.0, 75.0])
@pytest.mark.parametrize(
    "model",
    [
        *(pytest.param(standard(KIT["definitions"][name]), id=name) for name in NAMES),
        pytest.param(
            Standard("load", 49.8, offset_delay=33e-12, offset_loss=2.3e9), id="offset load"
        ),
        pytest.param(
            Standard("load", 1e9, offset_delay=33e-12, offset_loss=2.3e9), id="load as open"
        ),
        pytest.param(Standard("load", 51.0, (0.4e-9,), (20e-15,), 60e-12, 1e9, 48.0), id="R L C"),
        pytest.param(Standard("short", offset_delay=1e-9, offset_z0=75.0), id="lossless 75 ohm"),
    ],
)
def test_against_scikit_rf(model, z_ref):
    """scikit-rf 2.2, DefinedGammaZ0 with the first-order line constants; 1e-9."""
    frequency = np.geomspace(1e6, 9e9, 60)
    w = 2 * np.pi * frequency
    loss = model.offset_loss * np.sqrt(frequency / 1e9)
    # alpha l = A t / (2 Z), beta l = w t + alpha l, Zc = Z + (1 - j) A / (2 w)
    alpha = loss * model.offset_delay / (2 * model.offset_z0)
    turn = alpha + 1j * (w * model.offset_delay + alpha)
    z0 = model.offset_z0 + (1 - 1j) * loss / (2 * w)
    polynomial = np.polynomial.polynomial.polyval
    shunt = 1j * w * polynomial(frequency, model.capacitance)
    series = 1j * w * polynomial(frequency, model.inductance)
    series = series + (model.resistance if model.kind == "load" else 0.0)
    end = 1 / shunt if model.kind == "open" else series / (1 + series * shunt)
    theirs = behind_line(frequency, end, z0, turn, z_ref)
    assert model.reflection(frequency, z_ref=z_ref) == pytest.approx(theirs, abs=1e-9)
