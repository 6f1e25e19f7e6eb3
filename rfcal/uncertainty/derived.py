"""What is read off a corrected reflection, each figure with its 95 % interval.

R, X, |Z|, SWR, return loss, series and parallel inductance and capacitance, and Q: each follows
from one figure that is constant on circles of the reflection plane (`circles.Level`) by a
function that only rises or only falls, so its interval is that figure's, carried over.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths import circles as levels
from rfcal.maths.arguments import frozen
from rfcal.maths.reflection import Complex, Real, return_loss_db, swr, to_admittance, to_impedance
from rfcal.uncertainty import intervals
from rfcal.uncertainty.curved_regions import Region, region_of
from rfcal.uncertainty.quantity import Quantity


@dataclass(frozen=True, eq=False)
class Figure:
    """A real figure and its 95 % interval."""

    value: Real  # best estimate, shape (F,)
    low: Real  # ends of the interval, shape (F,); an infinite one, or one at the figure's bound,
    high: Real  # makes it one-sided
    unit: str  # empty for a plain number
    least: float = -np.inf  # its lower bound, of a passive device where it depends on that

    def __post_init__(self) -> None:
        for name in ("value", "low", "high"):
            values = frozen(getattr(self, name), f"the {name} of a figure", copy=False)
            object.__setattr__(self, name, values)

    @property
    def one_sided(self) -> Any:
        """What the interval tells at each frequency, as `sidedness` says it."""
        return sidedness(self.low, self.high, self.least)


SIDES = np.array([None, "above", "below", "unknown"], dtype=object)


def sidedness(low: Real | float, high: Real | float, least: float) -> Any:
    """Which ends of an interval the reading gives, and not a bound that holds anyhow.

    None for both, ``"above"`` for the low end only, ``"below"`` for the high end only, and
    ``"unknown"`` for neither.
    """
    without_low = np.isinf(low) | (np.asarray(low) == least)
    return SIDES[2 * without_low + np.isinf(high)]


def derived(
    frequency: Real,
    reflection: Quantity,
    *,
    z_ref: float,
    region: Region | None = None,
    passive: bool | NDArray[np.bool_] = True,
) -> dict[str, Figure]:
    """All figures of one device, whose bounds hold where it is known to be passive.

    An inductance is negative where the device is a capacitor, and the other way round; where it may
    be either, a capacitance in series and an inductance in parallel have no bound at all.
    """
    region = region or region_of(reflection)

    def ends(level: levels.Level) -> tuple[Real, Real]:
        return intervals.interval(level, reflection, region=region, passive=passive)

    w, value = 2 * np.pi * np.asarray(frequency, float), reflection.value
    z, y = to_impedance(value, z_ref), to_admittance(value, z_ref)
    ohm = [z_ref * e for e in ends(levels.REACTANCE)]
    sizes = [_root(e) for e in ends(levels.SQUARED_REFLECTION)]
    siemens = [e / z_ref for e in ends(levels.SUSCEPTANCE)]
    conductance = [e / z_ref for e in ends(levels.CONDUCTANCE)]
    with np.errstate(divide="ignore", invalid="ignore"):
        return {
            "resistance": _figure(z.real, [z_ref * e for e in ends(levels.RESISTANCE)], "ohm", 0.0),
            "reactance": _figure(z.imag, ohm, "ohm"),
            "impedance_magnitude": _figure(
                np.abs(z), [z_ref * _root(e) for e in ends(levels.SQUARED_IMPEDANCE)], "ohm", 0.0
            ),
            # SWR rises with the size of the reflection, return loss falls
            "swr": _figure(swr(value), [swr(s) for s in sizes], "", 1.0),
            "return_loss": _figure(
                return_loss_db(value), [return_loss_db(s) + 0.0 for s in sizes[::-1]], "dB", 0.0
            ),
            "series_inductance": _figure(z.imag / w, [e / w for e in ohm], "H"),
            "series_capacitance": _reciprocal(z.imag * -w, [-w * e for e in ohm[::-1]], "F"),
            "parallel_resistance": _reciprocal(y.real, conductance, "ohm", 0.0),
            "parallel_inductance": _reciprocal(y.imag * -w, [-w * e for e in siemens[::-1]], "H"),
            "parallel_capacitance": _figure(y.imag / w, [e / w for e in siemens], "F"),
            "q": _quality(z, ends(levels.REACTANCE_OVER_RESISTANCE)),
        }


def ends_of(figures: Mapping[str, Figure]) -> Real:
    """Intervals of R and of X [ohm], shape (F, 2, 2): last axis low and high."""
    pair = (figures[name] for name in ("resistance", "reactance"))
    ends = np.stack([np.stack([f.low, f.high], axis=-1) for f in pair], axis=-2)
    return frozen(ends, "intervals", copy=False)


def _root(square: Real) -> Real:
    return np.sqrt(np.maximum(square, 0))


def _figure(value: Real, ends: list[Real], unit: str, least: float = -np.inf) -> Figure:
    return Figure(value, ends[0], ends[1], unit, least)


def _reciprocal(value: Real, ends: list[Real], unit: str, least: float = -np.inf) -> Figure:
    """One over a figure. Through zero it may be anything: very large of either sign."""
    low, high = ends
    through = (low < 0) & (high > 0)
    one, other = 1 / high, np.where(low == 0, np.inf, 1 / low)
    low, high = np.where(through, -np.inf, one), np.where(through, np.inf, other)
    return Figure(1 / value, low, high, unit, least)


def _quality(z: Complex, ends: tuple[Real, Real]) -> Figure:
    """|X| / R from the interval of X / R."""
    sizes = np.abs(ends)
    low = np.where((ends[0] <= 0) & (ends[1] >= 0), 0.0, sizes.min(axis=0))
    value = np.where(z.real > 0, np.abs(z.imag) / np.where(z.real > 0, z.real, 1), np.inf)
    return Figure(value, low, sizes.max(axis=0), "", 0.0)
