"""How a load may have become another between the two sweeps: kinds of change, a number each."""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial

from rfcal.findings import listed
from rfcal.matching.network import part_value
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.uncertainty.quantity import Quantity

WHOLE, STRAY, MORE_R, MORE_X, TUNED = LOAD_CHANGES = range(5)
"""All of it larger, a capacitance across it, R larger, more of X in series with it, and all of its
course over the band at higher frequencies."""
COMBINABLE = (MORE_R, MORE_X, TUNED)
"""Those that may come together."""
LARGER, LOAD_STRAY_F, MORE_OHM, HIGHER = 0.05, 5e-12, 4.0, 0.012
"""What season, rain, a moved wire or a hand do to a load: larger in parts of itself, a capacitance
across it [F], so much more X beside what it is larger [ohm], and higher in parts of the frequency
(common practice, no source)."""
MOST_TIMES = 3.0
"""Up to so many times that a load has usually changed."""
DEGREE = 6
"""Of the polynomial, at most, that a load's course is followed by."""
LEAST_CHANCE = 1e-3
"""Chance of a misfit, or of common errors, from which on nothing is explained."""
MODEL_ERROR = 1e-4
"""Standard deviation of each part of a reflection that is there in any case [1]: how well the model
can be trusted."""


@dataclass(frozen=True, eq=False)
class Course:
    """A load as a smooth function of frequency, straight on beyond the sweep's ends."""

    curve: Polynomial  # of the frequency [ohm]
    more_ohm: float  # how much more of X it usually has where that has changed

    @classmethod
    def of(cls, frequency: Real, load: Quantity, z_ref: float) -> "Course":
        """The polynomial of lowest degree that follows a measured load within its noise."""
        from scipy.special import chdtri

        ohm = to_impedance(load.value, z_ref)
        ends = [frequency[0], max(frequency[-1], frequency[0] + 1)]
        noise = load.own.covariance()
        deviation = np.sqrt(np.trace(noise, axis1=-2, axis2=-1) / 2 + MODEL_ERROR**2)
        # d(reflection) = 2 Z0 / (Z + Z0)^2 dZ
        weight = 2 * z_ref / np.abs(ohm + z_ref) ** 2 / deviation
        for degree in range(min(DEGREE, frequency.size - 1) + 1):
            curve = Polynomial.fit(frequency, ohm, degree, domain=ends, w=weight)
            left = (np.abs(weight * (ohm - curve(frequency))) ** 2).sum()
            if left < chdtri(2 * frequency.size, LEAST_CHANCE):
                break
        return cls(curve, MORE_OHM + LARGER * float(np.median(np.abs(ohm))))

    def at(self, frequency: Real) -> Complex:
        """The load at some frequencies [ohm]."""
        inside = np.clip(frequency, *self.curve.domain)
        found: Complex = self.curve(inside) + self.curve.deriv()(inside) * (frequency - inside)
        return found

    def changed(self, frequency: Real, ohm: Complex, times: Real) -> Complex:
        """Loads [ohm], shape (S, F), that have changed by so many times, (kinds, S, 1)."""
        moved = np.flatnonzero(times[TUNED])
        before = frequency / (1 + HIGHER * times[TUNED, moved])
        by = np.zeros_like(ohm)
        by[moved] = self.at(before) - self.at(frequency)
        ohm = ohm + by
        ohm = ohm + LARGER * times[MORE_R] * ohm.real + 1j * self.more_ohm * times[MORE_X]
        ohm = (1 + LARGER * times[WHOLE]) * ohm
        # Z' = Z / (1 + j w C Z)
        return ohm / (1 + 2j * np.pi * frequency * LOAD_STRAY_F * times[STRAY] * ohm)

    def in_words(self, times: Real, half: Real) -> str:
        """A change by so many times, each kind to one or two figures by `half` its 95 % interval.

        Of kinds that it is not, the times are 0.
        """
        kinds = np.flatnonzero(times)
        return listed([self._one(int(kind), times[kind], half[kind]) for kind in kinds])

    def _one(self, kind: int, times: float, half: float) -> str:
        more = "more" if times > 0 else "less"
        unit = (LARGER, LOAD_STRAY_F, LARGER, self.more_ohm, HIGHER)[kind]
        size, width = (unit * max(abs(float(v)), 1e-9) for v in (times, 2 * half))
        size = float(f"{size:.{1 + (np.floor(np.log10(width)) < np.floor(np.log10(size)))}g}")
        percent = f"{100 * size:g} % {'larger' if times > 0 else 'smaller'}"
        return {
            WHOLE: f"all of it {percent}",
            STRAY: f"{part_value(size, 'F')} {more} across it",
            MORE_R: f"its R {percent}",
            MORE_X: f"about {size:g} ohm {more} of X in series with it",
            TUNED: f"tuned {100 * size:g} % {'higher' if times > 0 else 'lower'}",
        }[kind]
