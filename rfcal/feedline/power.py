"""What a line delivers: loss with mismatch, voltage and current along it, loss of a whole path."""

from dataclasses import dataclass
from functools import reduce
from operator import matmul

import numpy as np
from numpy.typing import ArrayLike

from rfcal.errors import CalibrationError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.model import Inputs
from rfcal.models.line import Line
from rfcal.uncertainty.coverage import K_AXIS

LOSS_DRAWS = 500
"""Draws for the uncertainty of a path's loss: enough for two digits of it."""


def loss_db(line: Line, frequency: ArrayLike, load: ArrayLike) -> Real:
    """Loss of a line with a load at its end: of the power into it, what does not arrive.

    Exact, from the two-port; it holds the matched loss and what standing waves add to it.
    """
    if not np.all(np.isfinite(load) & (np.real(load) > 0)):
        raise CalibrationError(
            "the load has no resistance above zero, or is open, so no power arrives in it"
        )
    return -10 * np.log10(line.two_port(frequency).power_gain(load))


@dataclass(frozen=True, eq=False)
class Standing:
    """Voltage and current along a line at one frequency."""

    distance_m: Real  # Distance from the load [m]. (P,)
    volts: Real  # Root-mean-square values [V] and [A]. (P,)
    amps: Real  # Root-mean-square values [V] and [A]. (P,)
    watts: Real  # Power passing towards the load [W]. (P,)


def along(
    line: Line, frequency_hz: float, load: complex, *, power_w: float, points: int = 401
) -> Standing:
    """Voltage, current and power along a line, for a stated power into its near end."""
    loss = float(loss_db(line, np.array([frequency_hz]), load)[0])
    at_load = np.sqrt(power_w * 10 ** (-loss / 10) / load.real)
    distance = np.linspace(0, line.length_m, points)
    piece = line.two_port(np.full(points, frequency_hz), distance)
    volts = (piece.a * load + piece.b) * at_load
    amps = (piece.c * load + piece.d) * at_load
    return Standing(distance, np.abs(volts), np.abs(amps), (volts * np.conj(amps)).real)


@dataclass(frozen=True, eq=False)
class PathLoss:
    """What is lost between the plane and the device."""

    # Of the power into the path at the plane, what does not reach the device [dB]; not below
    # zero, nan for a device that is seen to give power. (F,)
    loss_db: Real
    # 95 % half-width [dB]; infinite where one in twenty of what the device may be gives power.
    # (F,)
    expanded_uncertainty_db: Real


def path_loss(inputs: Inputs, reflection: Complex, rng: np.random.Generator) -> PathLoss | None:
    """Loss of what was removed between plane and device, with the device as it is.

    Every element is taken to be reciprocal, as cables, adapters and fixtures are.
    """
    lost = loss_of(inputs, reflection)
    if lost is None:
        return None
    drawn = _loss(*inputs.walk(rng, LOSS_DRAWS))
    told = np.isfinite(drawn)
    spread = np.std(np.where(told, drawn, lost), axis=0)
    half = np.where(np.mean(told, axis=0) > 0.95, K_AXIS * spread, np.inf)
    return PathLoss(np.maximum(lost, 0.0), half)


def loss_of(inputs: Inputs, reflection: Complex) -> Real | None:
    """Loss of what was removed between plane and device, with any load in the device's place."""
    whole = whole_map(inputs)
    return None if whole is None else _loss(reflection, [whole])


def whole_map(inputs: Inputs) -> Bilinear | None:
    """The map of all that was removed between plane and device."""
    if not inputs.path or any(step.embed for step in inputs.path):
        return None
    return reduce(matmul, (step.through(inputs.calibration.error_box) for step in inputs.path))


def _loss(reflection: Complex, maps: list) -> Real:
    whole = reduce(matmul, maps)
    with np.errstate(invalid="ignore", divide="ignore"):  # an active reading has no loss: nan
        return -10 * np.log10(whole.power_gain(reflection))
