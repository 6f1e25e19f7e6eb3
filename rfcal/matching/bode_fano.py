"""How well any network without loss could match a load over a band: the limit of Bode and Fano.

Sources: H. W. Bode, Network Analysis and Feedback Amplifier Design, section 16.3; R. M. Fano,
Journal of the Franklin Institute 249 (1950); value from memory, the integrals checked in tests.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.maths.bounded import nonnegative
from rfcal.maths.reflection import Complex, Real

MISFIT = 0.02
"""A model of the load that is further off says nothing about the load's limit [1]."""


@dataclass(frozen=True, eq=False)
class LoadModel:
    """Resistance, inductance and capacitance that stand for a load."""

    series: bool  # all three in series, else all three in parallel
    r_ohm: float
    l_h: float  # 0 in series or infinite in parallel where there is none
    c_f: float  # infinite in series or 0 in parallel where there is none
    # root mean square of the reflection at the load of a source that the model would match [1]
    residual: float = 0.0

    def impedance(self, frequency: Real) -> Complex:
        """Impedance of the model [ohm], shape (F,)."""
        omega = 2 * np.pi * np.asarray(frequency, float)
        # Z = R + j (w L - 1/(w C)), or 1/Z = 1/R + j (w C - 1/(w L))
        if self.series:
            ohm: Any = self.r_ohm + 1j * (omega * self.l_h - 1 / (omega * self.c_f))
            return ohm
        siemens: Any = 1 / self.r_ohm + 1j * (omega * self.c_f - 1 / (omega * self.l_h))
        return 1 / siemens


def fit_load(frequency: Real, load: Complex, *, z_ref: float = defaults.REFERENCE_OHM) -> LoadModel:
    """The series or parallel model that is nearer to the load, fitted in reflection."""
    found = []
    for series in (True, False):
        seen, ref = (load, z_ref) if series else (1 / load, 1 / z_ref)
        # both models are linear in their parts; weighed by the reflection's derivative
        level, rising, falling = _fit(frequency, seen, np.abs(2 * ref / (seen + ref) ** 2))
        with np.errstate(divide="ignore"):
            over_level, over_falling = map(float, 1 / np.array([level, falling]))
        parts = (level, rising, over_falling) if series else (over_level, over_falling, rising)
        model = LoadModel(series, *parts)
        # no network without loss changes this distance of two loads: |(Z1 - Z2)/(Z1 + Z2*)|
        z = model.impedance(frequency)
        away = np.abs((load - z) / (load + np.conj(z)))
        found.append(replace(model, residual=float(np.sqrt(np.mean(away**2)))))
    return min(found, key=lambda model: model.residual)


def _fit(frequency: Real, seen: Complex, weight: Real) -> list[float]:
    """Level, rising and falling part of ``a + j (w b - c / w)``, none below zero."""
    middle = float(np.sqrt(frequency[0] * frequency[-1]))
    ratio = frequency / middle
    zero = np.zeros_like(ratio)
    columns = np.stack([np.r_[zero + 1, zero], np.r_[zero, ratio], np.r_[zero, -1 / ratio]], axis=1)
    both = np.r_[weight, weight]
    parts, _ = nonnegative(both[:, None] * columns, both * np.r_[seen.real, seen.imag])
    omega = 2 * np.pi * middle
    scaled = parts * np.array([1, 1 / omega, omega])
    return [float(p) for p in scaled]


@dataclass(frozen=True, eq=False)
class Limit:
    """What no network without loss can beat, by both conditions."""

    # most that the integral of ln(1/|r|) dw can be [rad/s], by the inductance in series or the
    # capacitance in parallel; infinite without one
    far: float
    near: float  # most that the integral of ln(1/|r|) dw/w^2 can be [s/rad], by the other one
    reflection: float  # least magnitude that can be held over the whole band [1]
    misfit: float = 0.0  # how far the load's model is off [1], as `LoadModel` has it

    @property
    def told(self) -> bool:
        """Whether the model is near enough to the load to tell its limit."""
        return self.misfit <= MISFIT

    @property
    def swr(self) -> float:
        """The SWR that goes with the least reflection [1]."""
        return (1 + self.reflection) / (1 - self.reflection) if self.reflection < 1 else np.inf

    def reached(self, worst_swr: float) -> float | None:
        """How close a network comes: 1 at the limit, 0 for no match, above 1 only by loss.

        The logarithm of its worst reflection over that of the limit; None where there is no limit,
        or none is told.
        """
        if not self.told or self.reflection == 0:
            return None
        with np.errstate(divide="ignore"):  # without any reflection
            depth = np.log((1 - 1 / worst_swr) / (1 + 1 / worst_swr))
        return float(depth / np.log(self.reflection))


def bode_fano(model: LoadModel, band_hz: tuple[float, float]) -> Limit:
    """The limit for a load over a band, reached only by a network of endlessly many parts."""
    # far: pi R/L in series, pi/(R C) in parallel; near: pi R C in series, pi L/R in parallel
    r, l_h, c = model.r_ohm, model.l_h, model.c_f
    if model.series:
        far, near = r / l_h if l_h else np.inf, r * c
    else:
        far, near = 1 / (r * c) if c else np.inf, l_h / r
    low, high = (2 * np.pi * f for f in band_hz)
    # a constant reflection over the band: ln(1/|r|) (w2 - w1) <= far, and likewise near
    depth = np.pi * min(far / (high - low), near / (1 / low - 1 / high))
    return Limit(np.pi * far, np.pi * near, float(np.exp(-depth)), model.residual)
