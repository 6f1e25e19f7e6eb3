"""What is read off a corrected reflection, each figure with its 95 % interval.

R, X, |Z|, SWR, return loss, series and parallel inductance and capacitance, and Q: each follows
from one figure that is constant on circles of the reflection plane (`circles.Level`) by a
function that only rises or only falls, so its interval is that figure's, carried over.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths import circles as levels
from rfcal.maths.arguments import frozen
from rfcal.maths.reflection import Complex, Real, swr, to_admittance, to_impedance
from rfcal.maths.reflection import return_loss_db as loss
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


class Figures(Mapping[str, Figure]):
    """What is read off one reflection, each figure worked out when it is first asked for."""

    def __init__(self, names: Iterable[str], figure: Callable[[str], Figure]):
        self._names, self._figure = tuple(names), cache(figure)

    def __getitem__(self, name: str) -> Figure:
        with np.errstate(divide="ignore", invalid="ignore"):
            return self._figure(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def derived(
    frequency: Real,
    reflection: Quantity,
    *,
    z_ref: float,
    region: Region | None = None,
    passive: bool | NDArray[np.bool_] = True,
) -> Figures:
    """All figures of one device, whose bounds hold where it is known to be passive.

    An inductance is negative where the device is a capacitor, and the other way round; where it may
    be either, a capacitance in series and an inductance in parallel have no bound at all.
    """
    where = region or region_of(reflection)

    @cache
    def ends(level: levels.Level) -> tuple[Real, Real]:
        return intervals.interval(level, reflection, region=where, passive=passive)

    def scaled(level: levels.Level, by: float | Real) -> tuple[Real, Real]:
        low, high = (by * end for end in ends(level))
        return (low, high) if np.all(np.asarray(by) > 0) else (high, low)

    def roots(level: levels.Level, of: Callable[[Real], Real]) -> tuple[Real, Real]:
        low, high = (of(np.sqrt(np.maximum(end, 0))) for end in ends(level))
        return low, high

    w, value = 2 * np.pi * np.asarray(frequency, float), reflection.value
    z, y = to_impedance(value, z_ref), to_admittance(value, z_ref)
    x, b, s = levels.REACTANCE, levels.SUSCEPTANCE, 1 / z_ref
    by_name: dict[str, Callable[[], Figure]] = {
        "resistance": lambda: Figure(z.real, *scaled(levels.RESISTANCE, z_ref), "ohm", 0.0),
        "reactance": lambda: Figure(z.imag, *scaled(x, z_ref), "ohm"),
        "impedance_magnitude": lambda: Figure(
            np.abs(z), *roots(levels.SQUARED_IMPEDANCE, lambda size: z_ref * size), "ohm", 0.0
        ),
        # SWR rises with the size of the reflection, return loss falls
        "swr": lambda: Figure(swr(value), *roots(levels.SQUARED_REFLECTION, swr), "", 1.0),
        "return_loss": lambda: Figure(
            loss(value), *roots(levels.SQUARED_REFLECTION, loss)[::-1], "dB", 0.0
        ),
        "series_inductance": lambda: Figure(z.imag / w, *scaled(x, z_ref / w), "H"),
        "series_capacitance": lambda: _reciprocal(z.imag * -w, scaled(x, -w * z_ref), "F"),
        "parallel_resistance": lambda: _reciprocal(
            y.real, scaled(levels.CONDUCTANCE, s), "ohm", 0.0
        ),
        "parallel_inductance": lambda: _reciprocal(y.imag * -w, scaled(b, -w * s), "H"),
        "parallel_capacitance": lambda: Figure(y.imag / w, *scaled(b, s / w), "F"),
        "q": lambda: _quality(z, ends(levels.REACTANCE_OVER_RESISTANCE)),
    }
    return Figures(by_name, lambda name: by_name[name]())


def ends_of(figures: Mapping[str, Figure]) -> Real:
    """Intervals of R and of X [ohm], shape (F, 2, 2): last axis low and high."""
    pair = (figures[name] for name in ("resistance", "reactance"))
    ends = np.stack([np.stack([f.low, f.high], axis=-1) for f in pair], axis=-2)
    return frozen(ends, "intervals", copy=False)


def _reciprocal(value: Real, ends: tuple[Real, Real], unit: str, least: float = -np.inf) -> Figure:
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
