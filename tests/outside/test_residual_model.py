"""What a correction leaves over: residual errors, and their link to the standards.

Source of the shape D + T |G| + M |G|^2: EURAMET Calibration Guide 12 (value from memory); the
table is recomputed by brute force over all phases. The link to the standards is Lagrange's
interpolation through three points.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.measurement.error_terms import self_correcting, solve
from rfcal.measurement.propagate import Inputs, propagate
from rfcal.uncertainty.quantity import Effect, Quantity

TABLE = Path(__file__).parents[1] / "reference" / "residual_model.csv"
with TABLE.open(newline="") as file:
    ROWS = [{key: float(value) for key, value in row.items()} for row in csv.DictReader(file)]
DIRECTIVITY, SOURCE_MATCH, TRACKING = 0.01, 0.02, 0.005
PHASES = np.exp(2j * np.pi * np.arange(48) / 48)
BOXES = [
    Bilinear.from_error_terms(np.array([0j]), np.array([0j]), np.array([1 + 0j])),
    Bilinear.from_error_terms(np.array([0.05 + 0.02j]), np.array([0.1 - 0.05j]), np.array([0.7j])),
    Bilinear.from_error_terms(np.array([0.3j]), np.array([-0.4 + 0j]), np.array([1.2 - 0.3j])),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['size']:g}")
def test_table_of_residual_errors(row):
    """The map of the residuals, at every phase of all three against the reflection's."""
    box = Bilinear.from_error_terms(
        DIRECTIVITY * PHASES[:, None, None],
        SOURCE_MATCH * PHASES[:, None],
        1 + TRACKING * PHASES,
    )
    error = np.abs(box.apply(row["size"]) - row["size"])
    assert error.max() == pytest.approx(row["worst"], abs=1e-8)
    assert np.sqrt(np.mean(error**2)) == pytest.approx(row["rms"], abs=1e-8)
    assert error.max() == pytest.approx(row["first_order"], rel=0.02)
    assert np.sqrt(np.mean(error**2)) == pytest.approx(row["root_sum_of_squares"], rel=1e-3)


def weights(standards, device, box):
    """Change of the corrected device for a unit change of each standard's definition."""
    known = [
        Quantity(np.array([g], complex), (Effect(str(i), np.array([1e-3 + 0j])),))
        for i, g in enumerate(standards)
    ]
    seen = [Quantity(box.apply(k.value)) for k in known]
    names = [effect.source for k in known for effect in k.effects]
    calibration = solve(np.array([1e8]), names, known, seen)
    reading = Quantity(box.apply(np.array([device])))
    result = propagate(Inputs(calibration, reading, Quantity(np.zeros(1, complex))))
    change = {effect.source: effect.change[0] / 1e-3 for effect in result.effects}
    return np.array([change[name] for name in names])


@pytest.mark.parametrize("box", BOXES)
@pytest.mark.parametrize("device", [0j, 0.4 - 0.3j, 0.95 * np.exp(2j)])
def test_error_of_the_standards_in_the_terms_of_residuals(device, box):
    """D = dl, T = (do - ds) / 2, M = (do + ds) / 2 - dl, whatever the error box is."""
    of_open, of_short, of_load = weights([1.0, -1.0, 0.0], device, box)
    # error = D + T g + M g^2, one standard's error at a time
    assert of_open == pytest.approx(device / 2 + device**2 / 2, abs=1e-9)
    assert of_short == pytest.approx(-device / 2 + device**2 / 2, abs=1e-9)
    assert of_load == pytest.approx(1 - device**2, abs=1e-9)


@pytest.mark.parametrize("box", BOXES)
def test_lagrange_weights_of_three_standards(box):
    """Numbers recomputed outside this project, with GTC 1.5.1 and by hand."""
    standards = [np.exp(-0.3j), -np.exp(-0.25j), 0.02 + 0.01j]
    found = weights(standards, 0.4 - 0.3j, box)
    expected = [
        0.3269941 - 0.1677439j,
        -0.1321067 + 0.0220819j,
        0.8051125 + 0.1456619j,
    ]
    assert found == pytest.approx(np.array(expected), abs=1e-7)
    assert found.sum() == pytest.approx(1)


@pytest.mark.parametrize("phase", np.linspace(0, 6, 7))
@pytest.mark.parametrize("size", [0.0, 0.3, 0.7, 1.0])
def test_first_order_bound_holds_what_the_residuals_leave(size, phase):
    """EURAMET Calibration Guide 12's sum: never passed by the model but by its second order."""
    reading = Quantity(np.array([size * np.exp(1j * phase)]))
    sizes = {"directivity": DIRECTIVITY, "source_match": SOURCE_MATCH, "tracking": TRACKING}
    zero = Quantity(np.zeros(1, complex))
    inputs = Inputs(self_correcting(np.array([1e8]), **sizes), reading, zero)
    bound = DIRECTIVITY + TRACKING * size + SOURCE_MATCH * size**2
    worst = np.max(
        [
            np.abs(
                Bilinear.from_error_terms(
                    DIRECTIVITY * d, SOURCE_MATCH * m, 1 + TRACKING * t
                ).correct(reading.value)
                - reading.value
            )
            for d in PHASES[::4]
            for m in PHASES[::4]
            for t in PHASES[::4]
        ]
    )
    assert worst == pytest.approx(bound, rel=0.05)
    # root sum of squares of the same three, half in each axis
    assert propagate(inputs).variance()[0] < bound**2 / 2 * (1 + 1e-12)
