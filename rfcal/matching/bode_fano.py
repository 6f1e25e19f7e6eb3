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
    """R, L and C for a load: ``a + j (w b - c / w)`` is its impedance or admittance."""

    series: bool  # all three in series, else all three in parallel
    level: float  # R [ohm], or 1/R [S]
    rising: float  # L [H], or C [F]; 0 where there is none
    falling: float  # 1/C [1/F], or 1/L [1/H]; 0 where there is none
    # root mean square of the reflection at the load of a source that the model would match [1]
    residual: float = 0.0

    def impedance(self, frequency: Real) -> Complex:
        """Impedance of the model [ohm], shape (F,)."""
        omega = 2 * np.pi * np.asarray(frequency, float)
        seen: Any = self.level + 1j * (omega * self.rising - self.falling / omega)
        return seen if self.series else 1 / seen

    def at_best(self, load: Complex, loads: Complex) -> "LoadModel | None":
        """The same with the most resistance that a load (B,) may have of these [ohm], (N, B).

        None where the model is further off than they lie apart.
        """
        away = np.abs((loads - load) / (loads + np.conj(load)))
        if self.residual > max(MISFIT, np.sqrt(np.mean(away**2))):
            return None
        now, may = (z.real if self.series else (1 / z).real for z in (load, loads))
        most = np.quantile(may.mean(axis=-1), 0.975) / now.mean()
        return replace(self, level=self.level * float(max(most, 1)))

    def widest_hz(self, limit_swr: float, centre_hz: float) -> float:
        """Width about a frequency [Hz] over which the limit is this SWR."""
        depth, omega = np.log((limit_swr + 1) / (limit_swr - 1)), 2 * np.pi * centre_hz
        with np.errstate(divide="ignore"):
            far, near = np.pi * self.level / np.array([self.rising, self.falling]) / depth
        # near = w/(omega^2 - w^2/4), of the band's both edges
        by_near = 2 * omega * np.tanh(np.arcsinh(near * omega) / 2)
        return float(min(far, by_near)) / (2 * np.pi)


def fit_load(frequency: Real, load: Complex, *, z_ref: float = defaults.REFERENCE_OHM) -> LoadModel:
    """The series or parallel model that is nearer to the load, fitted in reflection."""
    middle = float(np.sqrt(frequency[0] * frequency[-1]))
    ratio, omega, found = frequency / middle, 2 * np.pi * middle, []
    zero = np.zeros_like(ratio)
    columns = np.stack([np.r_[zero + 1, zero], np.r_[zero, ratio], np.r_[zero, -1 / ratio]], axis=1)
    for series in (True, False):
        seen, ref = (load, z_ref) if series else (1 / load, 1 / z_ref)
        # both models are linear in their parts; weighed by the reflection's derivative
        both = np.tile(np.abs(2 * ref / (seen + ref) ** 2), 2)
        parts, _ = nonnegative(both[:, None] * columns, both * np.r_[seen.real, seen.imag])
        model = LoadModel(series, *map(float, parts * np.array([1, 1 / omega, omega])))
        # no network without loss changes this distance of two loads: |(Z1 - Z2)/(Z1 + Z2*)|
        z = model.impedance(frequency)
        away = np.abs((load - z) / (load + np.conj(z)))
        found.append(replace(model, residual=float(np.sqrt(np.mean(away**2)))))
    return min(found, key=lambda model: model.residual)


@dataclass(frozen=True, eq=False)
class Limit:
    """What no network without loss can beat, by both conditions."""

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
    low, high = (2 * np.pi * f for f in band_hz)
    with np.errstate(divide="ignore"):  # without a part there is no limit by it
        # integral of ln(1/|r|) dw below pi R/L in series, pi/(R C) in parallel; of ln(1/|r|) dw/w^2
        # below pi R C in series, pi L/R in parallel
        far, near = np.pi * model.level / np.array([model.rising, model.falling])
    # with a constant reflection over the band
    depth = min(far / (high - low), near / (1 / low - 1 / high))
    return Limit(float(np.exp(-depth)), model.residual)
