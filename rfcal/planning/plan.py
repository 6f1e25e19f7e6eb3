"""Before the climb: how sure the answer will be, what would help most, and what stays unseen."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.measurement.propagate import figures_of, impedance, propagate
from rfcal.models.standards import Standard, Tabulated, with_default_uncertainty
from rfcal.planning.setup import Length, Setup
from rfcal.uncertainty.coverage import budget
from rfcal.uncertainty.derived import Figure, ends_of
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

    reflection: Quantity  # at the device [1]
    figures: dict[str, Figure]  # as from `derived`
    shares: dict[str, Real]  # of the sources in the variance of R and of X, shape (F, 2)
    options: tuple[Option, ...]  # the most helpful first


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
    device = from_impedance(expected, setup.z_ref)
    inputs = setup.inputs(device)
    reflection = propagate(inputs)
    figures = figures_of(inputs, reflection, setup.z_ref)
    now, options = _widths(figures), []
    for change, other in changes(setup).items():
        try:
            changed = other.inputs(device)
            then = _widths(figures_of(changed, propagate(changed), setup.z_ref))
        except CalibrationError:
            continue  # what cannot be calibrated so is no advice
        ratio, whole = _ratio(then, now), _ratio(np.hypot(*then.T), np.hypot(*now.T))
        gain = float(1 - np.median(whole))
        options.append(Option(change, other, ratio[:, 0], ratio[:, 1], gain))
    ranked = sorted(options, key=lambda option: -option.gain)
    return Plan(reflection, figures, budget(impedance(reflection, setup.z_ref)), tuple(ranked))


def _widths(figures: dict[str, Figure]) -> Real:
    """Of the intervals of R and X [ohm], shape (F, 2), to be compared."""
    return np.ptp(ends_of(figures), axis=-1)


def _ratio(then: Real, now: Real) -> Real:
    """What remains of an interval; one without end that stays so has not shrunk."""
    bounded = np.isfinite(now)
    shrunk = then / np.where(bounded & (now > 0), now, 1.0)
    return np.where(bounded, shrunk, ~np.isfinite(then) * 1.0)


def changes(setup: Setup) -> dict[str, Setup]:
    """What could be done better, each as a set-up of its own, by what is to be done."""
    found = _of_instrument(setup) if setup.residual is not None else _of_standards(setup)
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
    found["halve the cable"] = replace(setup, lines=tuple(_shorter(v) for v in setup.lines))
    if any(line.kind == "cable" for line in setup.lines):
        as_swept = {"cable": "measured"}
        swept = (replace(line, kind=as_swept.get(line.kind, line.kind)) for line in setup.lines)
        found["sweep the cable itself, open and short"] = replace(setup, lines=tuple(swept))
    return found


def _of_standards(setup: Setup) -> dict[str, Setup]:
    """Standards known better, or more of them."""
    standards = setup.standards
    found = {
        f"know '{name}' three times better": replace(
            setup, standards={**standards, name: _better(standard)}
        )
        for name, standard in standards.items()
    }
    for name, extra in EXTRA.items():
        if name not in standards:
            more = {**standards, name: _placed(extra, setup.frequency)}
            found[f"add the standard '{name}'"] = replace(setup, standards=more)
    return found


def _of_instrument(setup: Setup) -> dict[str, Setup]:
    """Less left by the instrument's own correction, or standards of one's own instead."""
    left = {**defaults.RESIDUAL, **(setup.residual or {})}
    found = {
        f"leave a third of the residual {name.replace('_', ' ')}": replace(
            setup, residual={**left, name: size / 3}
        )
        for name, size in left.items()
    }
    own = replace(setup, residual=None, standards=PLAIN)
    return {**found, "read short, open and load of your own": own}


def _better(standard: Standard | Tabulated) -> Standard | Tabulated:
    known = with_default_uncertainty(standard).uncertainty
    return replace(standard, uncertainty={k: v / 3 for k, v in known.items()})


def _placed(standard: Standard, frequency: Real) -> Standard:
    """An open or short an eighth of a wave away in the middle of the band."""
    away = 1 / (8 * float(np.median(frequency)))
    return standard if standard.kind == "load" else replace(standard, offset_delay=away)


def _shorter(line: Length) -> Length:
    """Half of a cable; a tape measure is as wrong about it as about the whole."""
    if line.kind not in ("cable", "measured") or line.seen is not None:
        return line
    return replace(line, line=replace(line.line, length_m=line.line.length_m / 2))


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
    here = setup.repeated(places.size)
    inputs = here.inputs(places)
    seen = figures_of(inputs, propagate(inputs), setup.z_ref)
    r, x, z = (seen[k] for k in ("resistance", "reactance", "impedance_magnitude"))
    return Blind(
        places,
        (r.low <= 0) | ((r.high - r.low) / 2 > LIMIT * r.value),
        ~((x.high - x.low) / 2 <= LIMIT * z.value),
    )


def _rings() -> Complex:
    """Places all over the chart [1]: 12 rings of 48, the outermost just inside its edge."""
    sizes = 0.99 * np.arange(1, 13) / 12
    turns = np.exp(2j * np.pi * np.arange(48) / 48)
    return np.asarray(sizes[:, None] * turns).ravel()
