"""Monte Carlo with a fixed number of draws, to hold the linear answer against."""

from dataclasses import dataclass

import numpy as np

from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.measurement.propagate import Inputs


@dataclass(frozen=True, eq=False)
class Drawn:
    """What draws of all inputs say about an impedance."""

    mean: Complex  # [ohm], shape (F,)
    covariance: Real  # of R and X [ohm^2], shape (F, 2, 2)
    interval: Real  # equal-tailed, 95 % [ohm], shape (F, 2, 2): last axis low and high


def monte_carlo(inputs: Inputs, z_ref: float, rng: "np.random.Generator", *, draws: int) -> Drawn:
    """Impedance of the device [ohm] by so many draws."""
    z = to_impedance(inputs.draw(rng, draws), z_ref)
    parts = np.stack([z.real, z.imag])
    covariance = np.array([np.cov(at) for at in np.moveaxis(parts, -1, 0)])
    ends = np.quantile(parts, (0.025, 0.975), axis=1)
    return Drawn(z.mean(axis=0), covariance, np.moveaxis(ends, (0, 1), (-1, -2)))
