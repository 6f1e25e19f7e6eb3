"""Before the climb: how sure the answer will be, what would help most, and what stays unseen."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.propagate import figures_of, impedance, propagate
from rfcal.models.standards import Standard, with_default_uncertainty
from rfcal.planning.setup import Setup
from rfcal.uncertainty.coverage import budget
from rfcal.uncertainty.derived import Figures, ends_of
from rfcal.uncertainty.quantity import Quantity

LIMIT = 0.5
"""Largest half-width of a useful interval: of R over R, of X over the size of the impedance [1]."""
SWEEPS = 16
"""Sweeps averaged where averaging is proposed."""

EXTRA: Mapping[str, Standard] = {
    "25 ohm": Standard("load", 25.0),
    "100 ohm": Standard("load", 100.0),
    "offset open": Standard("open", uncertainty={"delay": defaults.OWN_OFFSET_DELAY_S}),
    "offset short": Standard("short", uncertainty={"delay": defaults.OWN_OFFSET_DELAY_S}),
}
"""Standards that can be added: resistors of 1 %, and ends behind an eighth of a wave of line at the
middle of the frequencies."""
PLAIN: Mapping[str, Standard] = {kind: Standard(kind) for kind in ("short", "open", "load")}
"""Standards proposed where there are none yet."""


@dataclass(frozen=True, eq=False)
class Option:
    """One change of the set-up and what it would do."""

    change: str  # what to do, in a few words
    setup: Setup  # so changed
    resistance: Real  # of the width of the 95 % interval the part that would remain [1], shape (F,)
    reactance: Real
    gain: float  # part by which both together would shrink (median); negative where they grow


@dataclass(frozen=True, eq=False)
class Plan:
    """What to expect of a measurement."""

    setup: Setup
    reflection: Quantity  # at the device [1]
    figures: Figures

    @property
    def shares(self) -> dict[str, Real]:
        """Of the sources in the variance of R and of X, shape (F, 2)."""
        return budget(impedance(self.reflection, self.setup.z_ref))

    @cached_property
    def options(self) -> tuple[Option, ...]:
        """What could be changed, the most helpful first."""
        now, found = _widths(self.figures), []
        for change, other in changes(self.setup).items():
            try:
                then = _widths(_found(other, self.reflection.value)[1])
            except CalibrationError:
                continue  # what cannot be calibrated so is no advice
            # an interval without end that stays so has not shrunk
            left = then / np.where(np.isfinite(now) & (now > 0), now, 1.0)
            r, x, both = np.where(np.isfinite(now), left, ~np.isfinite(then) * 1.0)
            found.append(Option(change, other, r, x, float(1 - np.median(both))))
        return tuple(sorted(found, key=lambda option: -option.gain))


def plan(setup: Setup, expected_ohm: ArrayLike) -> Plan:
    """What a measurement will be worth, and what would improve it.

    Parameters
    ----------
    setup : Setup
        Analyzer, standards and lines.
    expected_ohm : array_like, shape (F,) or ()
        Impedance expected of the device [ohm], passive.

    Returns
    -------
    Plan
        Intervals, budget and what could be changed.
    """
    expected = np.broadcast_to(np.asarray(expected_ohm, complex), setup.frequency.shape)
    if not (np.all(np.isfinite(expected)) and np.all(expected.real >= 0)):
        raise CalibrationError("plan with a finite impedance whose R is not below zero")
    return Plan(setup, *_found(setup, from_impedance(expected, setup.z_ref)))


def _found(setup: Setup, reflection: Complex) -> tuple[Quantity, Figures]:
    """What a measurement will say of a device that reflects this [1]."""
    inputs = setup.inputs(reflection)
    found = propagate(inputs)
    return found, figures_of(inputs, found, setup.z_ref)


def _widths(figures: Figures) -> Real:
    """Of the intervals of R, of X and of both together [ohm], shape (3, F)."""
    r, x = np.ptp(ends_of(figures), axis=-1).T
    return np.array([r, x, np.hypot(r, x)])


def changes(setup: Setup) -> dict[str, Setup]:
    """What could be done better, each as a set-up of its own, by what is to be done."""
    found = _of_standards(setup) if setup.residual is None else _of_instrument(setup)
    found[f"average {SWEEPS} sweeps"] = replace(setup, noise=setup.noise / SWEEPS**0.5)
    if setup.resolution_ohm or setup.typed_steps is not None:
        files = replace(setup, resolution_ohm=0.0, typed_steps=None)
        found["save files instead of typing"] = files
    cleaned = "halve what a connection changes (clean it, tighten all alike)"
    found[cleaned] = replace(setup, connection=setup.connection / 2)
    found["calibrate again just before"] = replace(setup, drift=0.0)
    if not setup.lines:
        return found
    there = replace(setup, lines=(), inside=(*setup.inside, *setup.lines))
    if setup.residual is not None:
        there = replace(there, residual=None, standards=PLAIN)
    found["calibrate at the far end"] = there
    halves = (
        replace(v, line=replace(v.line, length_m=v.line.length_m / 2))
        if v.kind in ("cable", "measured") and v.seen is None
        else v
        for v in setup.lines
    )
    # a tape measure is as wrong about half of a cable as about the whole
    found["halve the cable"] = replace(setup, lines=tuple(halves))
    swept = (replace(v, kind="measured") if v.kind == "cable" else v for v in setup.lines)
    if any(line.kind == "cable" for line in setup.lines):
        found["sweep the cable itself, open and short"] = replace(setup, lines=tuple(swept))
    return found


def _of_standards(setup: Setup) -> dict[str, Setup]:
    """Standards known better, or more of them."""
    standards, found = setup.standards, {}
    for name, standard in standards.items():
        usual = with_default_uncertainty(standard).uncertainty
        better = replace(standard, uncertainty={what: size / 3 for what, size in usual.items()})
        found[f"know '{name}' three times better"] = {**standards, name: better}
    away = 1 / (8 * float(np.median(setup.frequency)))
    for name, extra in EXTRA.items():
        if name not in standards:
            placed = extra if extra.kind == "load" else replace(extra, offset_delay=away)
            found[f"add the standard '{name}'"] = {**standards, name: placed}
    return {change: replace(setup, standards=those) for change, those in found.items()}


def _of_instrument(setup: Setup) -> dict[str, Setup]:
    """Less left by the instrument's own correction, or standards of one's own instead."""
    left, found = {**defaults.RESIDUAL, **(setup.residual or {})}, {}
    for name, size in left.items():
        less = replace(setup, residual={**left, name: size / 3})
        found[f"leave a third of the residual {name.replace('_', ' ')}"] = less
    own = replace(setup, residual=None, standards=PLAIN)
    return {**found, "read short, open and load of your own": own}


@dataclass(frozen=True, eq=False)
class Blind:
    """Places of the reflection chart where a set-up sees little."""

    reflection: Complex  # places [1], shape (M,)
    resistance: NDArray[np.bool_]  # where R is not known to the limit asked for
    reactance: NDArray[np.bool_]  # where X is not


def blind(setup: Setup) -> Blind:
    """Where on the chart the set-up is blind, at the middle of its frequencies.

    Parameters
    ----------
    setup : Setup
        Analyzer, standards and lines.

    Returns
    -------
    Blind
        Marked places.
    """
    places = _rings()
    ends = ends_of(_found(setup.repeated(places.size), places)[1])
    z = to_impedance(places, setup.z_ref)
    r, x = np.ptp(ends, axis=-1).T / 2
    return Blind(places, (ends[:, 0, 0] <= 0) | (r > LIMIT * z.real), ~(x <= LIMIT * np.abs(z)))


def _rings() -> Complex:
    """Places all over the chart [1]: 12 rings of 48, the outermost just inside its edge."""
    sizes = 0.99 * np.arange(1, 13) / 12
    turns = np.exp(2j * np.pi * np.arange(48) / 48)
    return np.asarray(sizes[:, None] * turns).ravel()
