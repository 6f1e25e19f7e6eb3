"""What a line delivers: loss with mismatch, voltage and current along it, loss of a whole path."""

from dataclasses import dataclass
from functools import reduce
from operator import matmul

import numpy as np
from numpy.typing import ArrayLike

from rfcal.errors import CalibrationError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.deembedding import path_map
from rfcal.measurement.propagate import Inputs
from rfcal.models.line import Line
from rfcal.uncertainty.coverage import K_AXIS

PLACES = 401
"""Places along a line at which voltage and current are told."""
LOSS_DRAWS = 500
"""Draws for the uncertainty of a path's loss: enough for two digits of it."""


def loss_db(line: Line, frequency: ArrayLike, load: ArrayLike) -> Real:
    """Loss of a line with a load [ohm] at its end [dB]: of the power into it, what is not in it.

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

    distance_m: Real  # from the load, shape (P,)
    volts: Real  # root mean square
    amps: Real
    watts: Real  # passing towards the load


def along(line: Line, frequency_hz: float, load: complex, *, power_w: float) -> Standing:
    """Voltage, current and power along a line, for a stated power into its near end."""
    loss = float(loss_db(line, np.array([frequency_hz]), load)[0])
    at_load = np.sqrt(power_w * 10 ** (-loss / 10) / load.real)
    distance = np.linspace(0, line.length_m, PLACES)
    piece = line.two_port(np.full(PLACES, frequency_hz), distance)
    # [V1; I1] = [A B; C D] [V2; I2] with V2 = Z I2
    volts = (piece.a * load + piece.b) * at_load
    amps = (piece.c * load + piece.d) * at_load
    return Standing(distance, np.abs(volts), np.abs(amps), (volts * np.conj(amps)).real)


@dataclass(frozen=True, eq=False)
class PathLoss:
    """What is lost between the plane and the device."""

    # of the power into the path at the plane, what does not reach the device; not below zero, nan
    # for a device that is seen to give power; shape (F,)
    loss_db: Real
    # 95 % half-width; infinite where one in twenty of what the device may be gives power
    expanded_uncertainty_db: Real


def path_loss(inputs: Inputs, reflection: Complex, rng: "np.random.Generator") -> PathLoss | None:
    """Loss of what was removed between plane and device, with the device's reflection [1].

    None where nothing was removed, or where something was added.
    Every element is taken to be reciprocal, as cables, adapters and fixtures are.
    """
    lost = loss_of(inputs, reflection)
    if lost is None:
        return None
    drawn = _loss(*inputs.walk(rng, LOSS_DRAWS))
    told = np.isfinite(drawn)
    with np.errstate(invalid="ignore"):  # no loss to spread about: nan
        spread = np.std(np.where(told, drawn, lost), axis=0)
    half = np.where(np.mean(told, axis=0) > 0.95, K_AXIS * spread, np.inf)
    return PathLoss(np.maximum(lost, 0.0), half)


def loss_of(inputs: Inputs, reflection: Complex) -> Real | None:
    """Loss [dB] of what was removed between plane and device, with a load in the device's place."""
    whole = whole_map(inputs)
    return None if whole is None else _loss(reflection, [whole])


def whole_map(inputs: Inputs) -> Bilinear | None:
    """The map from device to plane of all that was removed; None as for `path_loss`."""
    if not inputs.path or any(step.embed for step in inputs.path):
        return None
    return path_map(inputs.calibration.error_box, inputs.path)


def _loss(reflection: Complex, maps: list) -> Real:
    whole = reduce(matmul, maps)
    with np.errstate(invalid="ignore", divide="ignore"):  # an active reading has no loss: nan
        return -10 * np.log10(whole.power_gain(reflection))
