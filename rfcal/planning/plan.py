"""Before the climb: what will be used, how sure the answer will be, and what would help most."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.maths.arguments import numbers
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.bench import Analyzer, Bench, Known, PathElement
from rfcal.measurement.deembedding import path_map
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import Inputs, figures_of, impedance, propagate
from rfcal.models.line import Line
from rfcal.models.standards import Standard, Tabulated, with_default_uncertainty
from rfcal.readings.display import POLAR, step_effects
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.uncertainty.coverage import budget
from rfcal.uncertainty.derived import Figures, ends_of
from rfcal.uncertainty.quantity import Quantity

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
class Length:
    """A line, adapter or fixture between calibration plane and device, and how it will be known."""

    name: str
    line: Line  # what it is
    # standard uncertainties, as of a `PathElement`
    deviations: Mapping[str, float] = field(default_factory=dict)
    kind: str = "cable"  # by its figures; "measured" or "fixture" by its ends; or "adapter"
    seen: Bilinear | None = None  # what it is by what was read already, in place of `line`
    embed: bool = False  # whether it is to be added, else removed


@dataclass(frozen=True, eq=False)
class Setup:
    """What will be used for a measurement.

    Where nothing is stated the same is taken as in a record that states nothing.
    """

    frequency: Real  # [Hz], shape (F,)
    standards: Mapping[str, Standard | Tabulated] = field(default_factory=dict)  # by name
    noise: float = defaults.ANALYZER["noise"]  # of each axis of one raw reading [1]
    connection: float = defaults.ANALYZER["connection"]  # of each axis of connecting once [1]
    drift: float = defaults.ANALYZER["drift"]  # of each axis of each error term [1]
    lines: tuple[Length, ...] = ()  # between plane and device, from the plane outward
    z_ref: float = defaults.REFERENCE_OHM  # [ohm]
    # the analyzer's error terms before any correction [1]: by the tracking noise is divided
    directivity: complex = 0.0
    source_match: complex = 0.0
    tracking: complex = 1.0
    resolution_ohm: float = 0.0  # step of a display that R and X are typed off; 0 of files
    typed_steps: tuple[float, float] | None = None  # of a typed magnitude [1] and angle [degree]
    residual: Mapping[str, float] | None = None  # as an `Analyzer` has it, in place of standards
    inside: tuple[Length, ...] = ()  # from the analyzer to the plane, as part of the error box

    def inputs(self, reflection: Complex) -> Inputs:
        """The measurement as it will be of a device that reflects this [1], shape (F,)."""
        bench = self.bench()
        calibration = bench.calibration(self.frequency)
        path = bench.steps(calibration, [self._element(v, calibration) for v in self.lines])
        box = calibration.error_box
        raw = (box @ path_map(box, path)).apply(reflection)
        return bench.inputs(calibration, self.read("device", raw), path)

    def repeated(self, count: int) -> "Setup":
        """The set-up at the middle of its frequencies so many times, for cases side by side.

        A sweep's frequencies must ascend, so these do: by a billionth from the first to the last.
        """
        middle = float(np.median(self.frequency))
        return replace(self, frequency=middle * np.linspace(1.0, 1.0 + 1e-9, count))

    def box(self) -> Bilinear:
        """The analyzer, then the lines inside the calibration, as one map."""
        ones = np.ones(np.shape(self.frequency), complex)
        terms = (self.directivity, self.source_match, self.tracking)
        box = Bilinear.from_error_terms(*(ones * term for term in terms))
        for length in self.inside:
            box = box @ self._map(length)
        return box

    def _map(self, length: Length) -> Bilinear:
        """A line, adapter or fixture from its far end to its near end."""
        return length.seen or length.line.two_port(self.frequency).bilinear(self.z_ref)

    def read(self, label: str, raw: Complex) -> Sweep:
        """What the display makes of a raw reflection [1], shape (F,)."""
        value = np.broadcast_to(raw, np.shape(self.frequency)).astype(complex)
        steps = dict.fromkeys("RX", self.resolution_ohm) if self.resolution_ohm else {}
        if self.typed_steps is not None:
            steps = dict(zip(POLAR, self.typed_steps, strict=True))
        effects = step_effects(label, value, self.z_ref, steps)
        return Sweep(self.frequency, value, self.z_ref, label, effects=effects)

    def bench(self) -> Bench:
        """The analyzer with the standards as they will be read."""
        analyzer = Analyzer(self.noise, self.connection, self.drift, self.residual)
        box, f, z_ref = self.box(), self.frequency, self.z_ref
        standards = (
            Known(name, item, self.read(name, box.apply(item.reflection(f, z_ref=z_ref))))
            for name, item in self.standards.items()
        )
        return Bench(analyzer, tuple(standards), z_ref)

    def _element(self, length: Length, calibration: Calibration) -> PathElement:
        """One element of the path, with what will tell about it."""
        known_by: Line | TwoPortSweep | tuple[Sweep, ...] = length.line
        name, box = length.name, self._map(length)
        if length.kind == "adapter":
            passing = np.sqrt(box.reflection_tracking)  # both ways alike
            s = np.array([[box.directivity, passing], [passing, box.source_match]])
            known_by = TwoPortSweep(self.frequency, s.transpose(2, 0, 1), self.z_ref, name)
        elif length.kind != "cable":
            seen = calibration.error_box @ box
            known_by = tuple(
                self.read(f"{name}, {what}", seen.apply(np.asarray(end, complex)))
                for what, end in (("open", 1.0), ("short", -1.0))
            )
        fixture, doubt = length.kind == "fixture", length.deviations
        return PathElement(name, known_by, fixture, doubt, length.embed)


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
    expected = np.broadcast_to(numbers(expected_ohm, "what is expected"), setup.frequency.shape)
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
    sweeps = defaults.AVERAGED
    found[f"average {sweeps} sweeps"] = replace(setup, noise=setup.noise / sweeps**0.5)
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
    most = defaults.USEFUL
    return Blind(places, (ends[:, 0, 0] <= 0) | (r > most * z.real), ~(x <= most * np.abs(z)))


def _rings() -> Complex:
    """Places all over the chart [1]: 12 rings of 48, the outermost just inside its edge."""
    sizes = 0.99 * np.arange(1, 13) / 12
    turns = np.exp(2j * np.pi * np.arange(48) / 48)
    return np.asarray(sizes[:, None] * turns).ravel()
