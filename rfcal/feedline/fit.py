"""The fit of a uniform line to sweeps with its far end open and short, from one start."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError, NotThisLineError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.bounded import least_squares
from rfcal.maths.reflection import Complex, Real, renormalise
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import NEPER_PER_DB, SPEED_OF_LIGHT, Line
from rfcal.uncertainty.quantity import Quantity, both_axes, combine

MISFIT, LEAST_MISFIT = 2.5, 0.006
"""A fit is none where its residual is this many times the expected one, and of this size [1]."""
LEAST_TURNS = 0.1
"""Turns of the round trip over the band with which a fit that fails tells something."""
SKIN_DEPTH_M, SURFACE_OHM = 66.1e-6, 2.61e-4
"""Of copper at 1 MHz: skin depth [m] and surface resistance [ohm] (58 MS/m; Pozar, section 1.7)."""
CENTRE = 0.77
"""Share of a coaxial line's conductor loss in its centre [1]: b / (a + b) of 50 ohm in polyethylene
(Pozar, table 2.1)."""
ORDERS = 200
"""Of Bessel functions, from which downwards their ratio is known to 1e-8 where a conductor is 1000
skin depths thick or less."""
LEAST_DB = 0.05
"""A line of less conductor loss at 1 MHz [dB per 100 m] has a skin effect that is developed."""
MOST_LOSS = 7.0
"""Of a line whose end is still seen, one way [Np]."""
ENDS_EXCHANGED = (
    "the far end's sweeps are half a turn off at zero frequency: look whether open and short are "
    "exchanged, or sweep in smaller steps if the line is long"
)
NO_LINE = (
    "the far end's sweeps are not those of a line with its end open or short: look whether the two "
    "are exchanged or something else was connected, or sweep in smaller steps if the line is long"
)
OR_FAULT = "; or the line has a fault: then give both, one with its end open and one with it short"


@dataclass(frozen=True, eq=False)
class LineProperties:
    """What a line is, fitted over the band."""

    line: Line  # with the velocity factor and length that go with its delay
    delay_s: float  # one-way
    # of delay [s], z0 [ohm], conductor and dielectric loss [dB per 100 m at 1 MHz], shape (4, 4):
    # from the scatter about the fit, and from what is common to all frequencies of the sweeps
    covariance: Real
    residual: float  # root mean square of what the fit leaves of the reflections [1]
    expected_residual: float  # what the sweeps' own effects and the far end's would leave [1]

    @property
    def fits(self) -> bool:
        """Whether a uniform line explains the sweeps, as far as they are known."""
        return self.residual < max(MISFIT * self.expected_residual, LEAST_MISFIT)

    @property
    def standard_uncertainty(self) -> dict[str, float]:
        """Of ``delay`` [s], ``z0`` [ohm], ``conductor`` and ``dielectric`` [dB per 100 m]."""
        names = ("delay", "z0", "conductor", "dielectric")
        return dict(zip(names, np.sqrt(np.diag(self.covariance)).tolist(), strict=True))

    def loss_db(self, frequency: Real) -> tuple[Real, Real]:
        """Matched loss of the whole line and its standard uncertainty [dB], shape (F,)."""
        # (a sqrt(f) + b f) length / 100
        share, megahertz = self.line.length_m / 100, np.asarray(frequency, float) / 1e6
        by_term = np.stack([np.sqrt(megahertz), megahertz], axis=-1) * share
        variance = np.einsum("fi,ij,fj->f", by_term, self.covariance[2:, 2:], by_term)
        return self.line.loss_db_per_100m(frequency) * share, np.sqrt(variance)


@dataclass(frozen=True, eq=False)
class FarEnds:
    """Sweeps of a line with its far end open or short."""

    frequency: Real  # [Hz], shape (F,)
    ends: dict[float, Quantity]  # by what the far end reflects: 1 open, -1 short
    z_ref: float = defaults.REFERENCE_OHM
    far_end: float = 0.0  # standard uncertainty of what that is [1]

    def round_trip(self, z0: float) -> Complex:
        """What the sweeps show of a line's round trip, if it has that impedance [ohm]."""
        seen = [e * renormalise(s.value, self.z_ref, z0) for e, s in self.ends.items()]
        return np.asarray(np.mean(seen, axis=0))

    def seen(self, through: Bilinear) -> Complex:
        """What the sweeps would be through that line, one after the other."""
        every = [np.full(self.frequency.size, end, complex) for end in self.ends]
        return np.concatenate([through.apply(end) for end in every], axis=-1)

    def off(self, line: Line) -> Complex:
        """What a line leaves of the sweeps, one after the other."""
        through = line.two_port(self.frequency).bilinear(self.z_ref)
        measured = [sweep.value for sweep in self.ends.values()]
        return np.asarray(self.seen(through) - np.concatenate(measured))


def fit_line(start: Line, swept: FarEnds) -> LineProperties:
    """The line that explains sweeps."""
    frequency, ends, z_ref = swept.frequency, swept.ends, swept.z_ref
    _require_way_back(start, frequency)
    values, residuals, slopes, weight = _nearest(start, swept)
    # at a bound of the search, or of no length, it is not this line that was swept; where its
    # round trip hardly turns over the band it may be
    scale, z0 = values[:2]
    if not (0.51 < scale < 1.99 and start.length_m > 0 and 0.06 < z0 / z_ref < 19):
        span = frequency[-1] - frequency[0]
        turns = 2 * abs(start.length_m) / start.velocity_factor / SPEED_OF_LIGHT * span
        raise (NotThisLineError if turns > LEAST_TURNS else CalibrationError)(NO_LINE)
    line = _line(start, *values.tolist())
    _require_way_back(line, frequency)
    through = line.two_port(frequency).bilinear(z_ref)
    seen = []
    for end, sweep in ends.items():
        slope = through.derivative(np.full(frequency.size, end))
        own = both_axes("far end", swept.far_end, slope=slope, influence=("far end", end))
        seen.append(sweep.plus(*own))
    left = residuals[:-1].reshape(2 * len(ends), -1)
    # J+ takes what differs from point to point, as the scatter tells; and what is common to all
    solve = np.linalg.pinv(slopes)
    moved = solve[:, :-1] @ np.column_stack([_common_columns(seen), _thin_columns(line, swept)])
    covariance = solve @ solve.T * weight**2 * _bunched(left) + moved @ moved.T
    delay = line.length_m / line.velocity_factor / SPEED_OF_LIGHT
    units = np.array([delay / scale, 1.0, 1.0, 1.0])
    return LineProperties(
        line,
        delay,
        covariance[:4, :4] * units * units[:, None],
        float(np.sqrt(2 * np.mean(left**2))),
        float(np.sqrt(np.mean([2 * quantity.variance() for quantity in seen]))),
    )


def _require_way_back(line: Line, frequency: Real) -> None:
    """Refuse a line of whose end nothing comes back, or which takes a wave up as it enters."""
    gamma = line.propagation(frequency)
    if np.any((gamma.real * line.length_m > MOST_LOSS) | (gamma.real > gamma.imag)):
        raise CalibrationError(NO_LINE)


def _line(start: Line, scale: Any, *others: Any) -> Line:
    """The line of a fit's values: length in parts of the start's, z0, both losses, skin effect."""
    return Line(start.length_m * scale, start.velocity_factor, *others)


def _nearest(start: Line, swept: FarEnds) -> tuple[Real, Real, Real, float]:
    """Values of a fit, residuals, their slopes, and the residuals' standard deviation [1].

    The last residual is what is known of the skin effect beforehand.
    """
    z_ref, weight = swept.z_ref, 1.0  # first with a developed skin effect, then as the sweeps tell

    def misfit(values: Real) -> Real:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # it is no step then
            off = swept.off(_line(start, *np.moveaxis(values, -1, 0)[..., None]))
        known = weight * (values[..., 4:] - 1) / defaults.SKIN_EFFECT
        return np.concatenate([off.real, off.imag, known], axis=-1)

    least = np.array([0.5, z_ref / 20, 0, 0, -1])
    most = np.array([2.0, z_ref * 20, np.inf, np.inf, 3])
    values = np.array([1.0, start.z0, start.conductor_db, start.dielectric_db, 1.0])
    for _ in range(3):
        values, left, slopes = least_squares(misfit, values, least, most)
        weight = float(np.linalg.norm(left) / np.sqrt(left.size - values.size)) + 1e-9
    return values, left, slopes, weight


def _thin_columns(line: Line, swept: FarEnds) -> Real:
    """Changes of all real, then all imaginary parts by a skin effect that is not yet developed.

    The fit's law has it developed at all frequencies, which a thin centre's is only once it is many
    skin depths thick; and it meets the loss exactly where R of that law would lose less. How thick
    the centre is, its loss tells as that of a round copper wire; plated and stranded ones depart
    from it as much, so it is an influence and no part of the law.
    """
    frequency, z_ref = swept.frequency, swept.z_ref
    high = replace(line, conductor_db=0.0)  # without conductors' loss
    series, shunt = high.per_metre(frequency)
    ohm = 2 * line.z0 * line.conductor_db / 100 * NEPER_PER_DB * np.sqrt(frequency / 1e6)
    inside = (1 + 1j) * ohm * (1 - CENTRE + CENTRE * _undeveloped(line, frequency))
    impedance = series + inside
    thin = TwoPort.line(np.sqrt(impedance / shunt), np.sqrt(impedance * shunt) * line.length_m)
    change = swept.seen(thin.bilinear(z_ref)) - swept.seen(line.two_port(frequency).bilinear(z_ref))
    return np.concatenate([change.real, change.imag])


def _undeveloped(line: Line, frequency: Real) -> Real:
    """Impedance of a round wire over that of a developed skin effect [1], complex.

    S. A. Schelkunoff, Bell System Technical Journal 13 (1934), 532: k J0(k a) / (2 pi a s J1(k a)).
    """
    # R = 2 z0 alpha = Rs / (2 pi a) / CENTRE at 1 MHz
    ohm = 2 * line.z0 * max(line.conductor_db, LEAST_DB) / 100 * NEPER_PER_DB
    radius = SURFACE_OHM / (2 * np.pi * CENTRE * ohm)
    argument = (1 - 1j) * radius / SKIN_DEPTH_M * np.sqrt(frequency / 1e6)
    # J(n - 1) / J(n) = 2 n / x - J(n + 1) / J(n), downwards: scipy's own takes long to load
    ratio = 2 * ORDERS / argument
    for order in range(ORDERS - 1, 0, -1):
        ratio = 2 * order / argument - 1 / ratio
    return np.asarray(-1j * ratio)


def _common_columns(sweeps: list[Quantity]) -> Real:
    """Changes of all real, then all imaginary parts by each influence common to all frequencies."""
    values = np.stack([sweep.value for sweep in sweeps])
    each = np.broadcast_to(np.eye(len(sweeps))[..., None], (len(sweeps), *values.shape))
    changes = combine(values, *zip(sweeps, each, strict=True)).common_changes()
    columns = changes.reshape(len(changes), -1).T
    return np.concatenate([columns.real, columns.imag])


def _bunched(left: Real) -> float:
    """By how much residuals that follow one another raise the variance of what is fitted."""
    product = float(np.sum(left[:, 1:] * left[:, :-1]))
    follows = min(max(product / max(float(np.sum(left**2)), 1e-300), 0.0), 0.98)
    # effective sample size of a first-order autoregressive series: (1 + r) / (1 - r)
    return (1 + follows) / (1 - follows)
