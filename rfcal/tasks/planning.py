"""Before the climb: how sure the answer will be, what would help most, and what stays unseen."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.models.quantity import Quantity, both_axes
from rfcal.models.standards import Standard, Tabulated, with_default_uncertainty
from rfcal.tasks.calibration import calibrate
from rfcal.tasks.derived import Figure, derived
from rfcal.tasks.intervals import Readings
from rfcal.tasks.path import Cable, Step
from rfcal.tasks.sources import DEFAULT_DRIFT, drift_effects
from rfcal.tasks.uncertainty import Inputs, budget, impedance, propagate

SWEEPS = 16
"""Sweeps averaged where averaging is proposed."""


@dataclass(frozen=True, eq=False)
class Length:
    """A line between the calibration plane and the device, as it will be known.

    Parameters
    ----------
    name : str
        Name, for the budget.
    cable : Cable
        The line at the plan's frequencies.
    deviations : mapping of str to float
        Standard uncertainties, keys as in `Cable.quantities`.
    """

    name: str
    cable: Cable
    deviations: Mapping[str, float]

    def step(self) -> Step:
        """The line as a step of a path, to be removed.

        Returns
        -------
        Step
            With the line's parameters.
        """
        inputs = self.cable.quantities(dict(self.deviations), self.name)
        return Step(self.cable, parameters=tuple(inputs))


@dataclass(frozen=True, eq=False)
class Setup:
    """What will be used for a measurement.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz].
    standards : mapping of str to Standard or Tabulated
        Three or more; one without stated uncertainty has its kind's default.
    noise : float
        Standard deviation of each axis of one raw reading [1].
    connection : float
        Standard deviation of each axis of one connection [1].
    drift : float
        As for `sources.drift_effects` [1].
    lines : tuple of Length
        Lines between plane and device, from the plane outward.
    z_ref : float
        Reference impedance [ohm].
    """

    frequency: Real
    standards: Mapping[str, Standard | Tabulated]
    noise: float = 0.0005
    connection: float = 0.001
    drift: float = DEFAULT_DRIFT
    lines: tuple[Length, ...] = ()
    z_ref: float = 50.0

    def inputs(self, reflection: Complex) -> Inputs:
        """The measurement as it will be, read by an analyzer without errors of its own.

        How a standard's error comes into the answer does not depend on the analyzer's error
        terms (Lagrange's weights); only noise and drift would be divided by its tracking.

        Parameters
        ----------
        reflection : ndarray, shape (F,)
            Reflection of the device expected [1].

        Returns
        -------
        Inputs
            For `propagate`.
        """
        names = list(self.standards)
        known = [
            with_default_uncertainty(standard)
            .quantity(self.frequency, z_ref=self.z_ref, name=name)
            .plus(*both_axes(f"{name}: connection", self.connection))
            for name, standard in self.standards.items()
        ]
        seen = [self._read(name, k.value) for name, k in zip(names, known, strict=True)]
        calibration = calibrate(self.frequency, names, known, seen)
        path = tuple(line.step() for line in self.lines)
        for step in reversed(path):
            box = step.element.bilinear([p.value for p in step.parameters])
            reflection = box.apply(reflection)
        reading = self._read("device", reflection)
        reading = reading.plus(*drift_effects(calibration, reading.value, self.drift))
        connection = both_axes("device: connection", self.connection)
        zero = Quantity(np.zeros_like(reading.value), connection)
        return Inputs(calibration, reading, zero, path)

    def _read(self, name: str, true: Complex) -> Quantity:
        value = np.broadcast_to(true, np.shape(self.frequency)).astype(complex)
        return Quantity(value, both_axes(f"{name}: noise", self.noise, per_point=True))


@dataclass(frozen=True, eq=False)
class Option:
    """One change of the set-up and what it would do.

    Parameters
    ----------
    change : str
        What to do, in a few words.
    setup : Setup
        The set-up so changed.
    resistance, reactance : ndarray, shape (F,)
        Standard uncertainty that would remain, over the present one [1].
    gain : float
        Part by which the uncertainty of R and X together would shrink [1], middle of the
        frequencies; negative where the change would harm.
    """

    change: str
    setup: Setup
    resistance: Real
    reactance: Real
    gain: float


@dataclass(frozen=True, eq=False)
class Plan:
    """What to expect of a measurement.

    Parameters
    ----------
    reflection : Quantity
        At the device [1], with every source's effect.
    figures : dict of str to Figure
        Intervals as from `derived.derived`: ``resistance``, ``reactance`` and the others.
    shares : dict of str to ndarray, shape (F, 2)
        Shares of the sources in the variance of R and of X.
    options : tuple of Option
        What could be changed, the most helpful first.
    """

    reflection: Quantity
    figures: dict[str, Figure]
    shares: dict[str, Real]
    options: tuple[Option, ...]


EXTRA: Mapping[str, Standard] = {
    "25 ohm": Standard("load", 25.0),
    "100 ohm": Standard("load", 100.0),
    "offset open": Standard("open"),
    "offset short": Standard("short"),
}
"""Standards that can be added: resistors of 1 %, and ends behind an eighth of a wave of line."""


def plan(setup: Setup, expected_ohm: ArrayLike) -> Plan:
    """What a measurement will be worth, and what would improve it.

    Parameters
    ----------
    setup : Setup
        Analyzer, standards and lines.
    expected_ohm : array_like, shape (F,) or ()
        Impedance expected of the device [ohm].

    Returns
    -------
    Plan
        Intervals, budget and options.

    Raises
    ------
    CalibrationError
        An impedance that is not finite, or an active one.
    """
    expected = np.broadcast_to(np.asarray(expected_ohm, complex), setup.frequency.shape)
    if not (np.all(np.isfinite(expected)) and np.all(expected.real >= 0)):
        raise CalibrationError("plan with a finite impedance whose R is not below zero")
    device = from_impedance(expected, setup.z_ref)
    inputs = setup.inputs(device)
    reflection = propagate(inputs)
    ohm = impedance(reflection, setup.z_ref)
    now = _variances(ohm)
    options = []
    for change, other in changes(setup).items():
        then = _variances(impedance(propagate(other.inputs(device)), setup.z_ref))
        ratio = np.sqrt(then / np.where(now > 0, now, 1))
        whole = np.sqrt(then.sum(axis=-1) / np.maximum(now.sum(axis=-1), 1e-300))
        gain = float(1 - np.median(whole))
        options.append(Option(change, other, ratio[:, 0], ratio[:, 1], gain))
    figures = derived(setup.frequency, reflection, z_ref=setup.z_ref, readings=Readings(inputs))
    ranked = sorted(options, key=lambda option: -option.gain)
    return Plan(reflection, figures, budget(ohm), tuple(ranked))


def _variances(ohm: Quantity) -> Real:
    return np.diagonal(ohm.covariance(), axis1=-2, axis2=-1)


def changes(setup: Setup) -> dict[str, Setup]:
    """What could be done better, each as a set-up of its own.

    Parameters
    ----------
    setup : Setup
        As it is.

    Returns
    -------
    dict of str to Setup
        By what is to be done.
    """
    found = {
        f"know '{name}' three times better": replace(
            setup, standards={**setup.standards, name: _better(standard)}
        )
        for name, standard in setup.standards.items()
    }
    for name, extra in EXTRA.items():
        if name not in setup.standards:
            more = {**setup.standards, name: _placed(extra, setup.frequency)}
            found[f"add the standard '{name}'"] = replace(setup, standards=more)
    found[f"average {SWEEPS} sweeps"] = replace(setup, noise=setup.noise / np.sqrt(SWEEPS))
    found["halve what a connection changes"] = replace(setup, connection=setup.connection / 2)
    found["calibrate again just before"] = replace(setup, drift=0.0)
    if setup.lines:
        found["calibrate at the far end"] = replace(setup, lines=())
        shorter = tuple(_shorter(line) for line in setup.lines)
        found["halve the cable"] = replace(setup, lines=shorter)
    return found


def _better(standard: Standard | Tabulated) -> Standard | Tabulated:
    known = with_default_uncertainty(standard).uncertainty
    return replace(standard, uncertainty={k: v / 3 for k, v in known.items()})


def _placed(standard: Standard, frequency: Real) -> Standard:
    """An offset standard an eighth of a wave away in the middle of the band."""
    if standard.kind == "load":
        return standard
    return replace(standard, offset_delay=1 / (8 * float(np.median(frequency))))


def _shorter(line: Length) -> Length:
    """Half the length, known to the same part of it."""
    cable = line.cable
    half = replace(cable, line=replace(cable.line, length_m=cable.line.length_m / 2))
    deviations = {**line.deviations, "length": line.deviations["length"] / 2}
    return replace(line, cable=half, deviations=deviations)


@dataclass(frozen=True, eq=False)
class Blind:
    """Places of the reflection chart where a set-up sees little.

    Parameters
    ----------
    reflection : ndarray, shape (M,)
        Places [1].
    resistance, reactance : ndarray of bool, shape (M,)
        Where R, where X is not known to the limit asked for.
    """

    reflection: Complex
    resistance: NDArray[np.bool_]
    reactance: NDArray[np.bool_]


@dataclass(frozen=True)
class Grid:
    """Places on the chart: rings of equal spacing.

    Parameters
    ----------
    rings : int
        Number of rings, the outermost at `outer`.
    spokes : int
        Places on every ring.
    outer : float
        Size of the reflection on the outermost ring [1].
    """

    rings: int = 12
    spokes: int = 48
    outer: float = 0.99

    def places(self) -> Complex:
        """The places, ring by ring outward.

        Returns
        -------
        ndarray, shape (rings * spokes,)
            Reflection coefficient [1].
        """
        sizes = self.outer * np.arange(1, self.rings + 1) / self.rings
        turns = np.exp(2j * np.pi * np.arange(self.spokes) / self.spokes)
        return (sizes[:, None] * turns).ravel()


def blind(setup: Setup, reflection: Complex | None = None, *, limit: float = 0.5) -> Blind:
    """Where on the chart the set-up is blind, at the middle of its frequencies.

    Parameters
    ----------
    setup : Setup
        Analyzer, standards and lines.
    reflection : ndarray, shape (M,), optional
        Places of the chart [1], within the unit circle; by default those of `Grid`.
    limit : float
        Largest half-width of a useful interval: of R over R itself, of X over the size of the
        impedance [1].

    Returns
    -------
    Blind
        Marked places.
    """
    places = Grid().places() if reflection is None else reflection
    middle = float(np.median(setup.frequency))
    everywhere = np.full(places.size, middle)
    lines = tuple(
        replace(line, cable=replace(line.cable, frequency=everywhere)) for line in setup.lines
    )
    here = replace(setup, frequency=everywhere, lines=lines)
    inputs = here.inputs(places)
    seen = derived(everywhere, propagate(inputs), z_ref=setup.z_ref, readings=Readings(inputs))
    r, x, z = (seen[k] for k in ("resistance", "reactance", "impedance_magnitude"))
    return Blind(
        places,
        (r.low <= 0) | ((r.high - r.low) / 2 > limit * r.value),
        ~((x.high - x.low) / 2 <= limit * z.value),
    )
