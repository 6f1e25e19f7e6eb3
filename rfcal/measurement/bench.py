"""What stands on the bench, and the inputs of the model that follow from it.

The one builder of a measurement's inputs: record, plan, coverage audit and what-if all go through
it, and so does whoever calibrates with the library alone.

>>> import numpy as np
>>> from rfcal.measurement.bench import Bench, Known
>>> from rfcal.models.standards import Standard
>>> from rfcal.readings.sweep import Sweep
>>> f = np.array([100e6, 101e6])
>>> raw = {"short": -0.98, "open": 0.97, "load": 0.01, "device": 0.35}
>>> sweeps = {k: Sweep(f, np.full(2, v, complex), 50.0, k) for k, v in raw.items()}
>>> kinds = ("short", "open", "load")
>>> bench = Bench(standards=tuple(Known(k, Standard(k), sweeps[k]) for k in kinds))
>>> calibration = bench.calibration()
>>> here = bench.at(calibration, f)  # the error terms at the device's frequencies
>>> path = bench.steps(here, ())  # of `PathElement`, from the standards' plane outward
>>> inputs, reflection = bench.corrected(here, sweeps["device"], path)
>>> np.round(reflection.value.real, 3)
array([0.351, 0.351])

`Bench` says what the analyzer is worth and which standards were read; `PathElement` is one thing
between their plane and a device. A changed bench (`dataclasses.replace`) is a what-if.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import grid_words, span_mhz
from rfcal.maths.arguments import deviations, number
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.deembedding import (
    BY_ITSELF,
    PathElement,
    Step,
    by_sweeps,
    same_points,
)
from rfcal.measurement.error_terms import Calibration, drift_effects, self_correcting, solve
from rfcal.measurement.propagate import Inputs, behind_path, propagate
from rfcal.models.interpolation import points_of, same_grid
from rfcal.models.standards import Standard, Tabulated, with_default_uncertainty
from rfcal.readings.rows import Say, silent
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.coverage import as_normal, degrees_of_freedom, squared_distance
from rfcal.uncertainty.quantity import (
    Effect,
    Index,
    Quantity,
    at_points,
    both_axes,
    combine,
    worked_out,
)
from rfcal.uncertainty.significance import far_off

MOVED = "moved since the standards were read"
"""The name in the budget of what rereads show beyond what was stated."""
BETWEEN = "interpolation of the error terms"
"""The name in the budget of what their course between the standards' points leaves open."""
EXPLAINED = 0.05
"""Chance [1] of so large a change from which on it is evidence of more than was stated: what comes
by itself once in twenty times widens nothing, or intervals would cover more than they say."""


@dataclass(frozen=True)
class Analyzer:
    """What one raw reading is worth, as standard uncertainties of real and imaginary part.

    Parameters
    ----------
    noise : float
        Of one reading, new at every frequency [1].
    connection : float
        Of connecting once, common to all frequencies [1].
    drift : float
        Of each error term, from calibration on [1].
    residual : mapping of str to float, optional
        Sizes [1] of what an instrument leaves that corrects itself, in place of standards:
        ``directivity``, ``source_match`` and ``tracking``.

    Examples
    --------
    >>> Analyzer(noise=0.001, drift=0.0)
    Analyzer(noise=0.001, connection=0.001, drift=0.0, residual=None)
    """

    noise: float = defaults.ANALYZER["noise"]
    connection: float = defaults.ANALYZER["connection"]
    drift: float = defaults.ANALYZER["drift"]
    residual: Mapping[str, float] | None = None

    def __post_init__(self) -> None:
        for name in ("noise", "connection", "drift"):
            number(getattr(self, name), f"the {name} of an analyzer [1]", low=0, high=1)
        if self.residual is not None:
            sizes = dict.fromkeys(defaults.RESIDUAL, 1.0)
            left = deviations(self.residual, "a self-correcting analyzer", sizes)
            object.__setattr__(self, "residual", left)


@dataclass(frozen=True, eq=False)
class Known:
    """A standard, or an artefact to check with: what it is, and its raw reading."""

    name: str
    model: Standard | Tabulated  # its kind's default uncertainty is taken where none is stated
    reading: Sweep

    def quantity(self, frequency: Real, z_ref: float) -> Quantity:
        """What it reflects [1]."""
        model = with_default_uncertainty(self.model)
        return model.quantity(frequency, z_ref=z_ref, name=self.name)


@dataclass(frozen=True, eq=False)
class Moved:
    """One artefact, read with the standards or as a check, and once more after the devices."""

    of: str  # its name
    calibration: Calibration  # at its frequencies
    first: Complex  # the first reading, corrected to the standards' plane [1]
    change: Quantity  # by which the second differs there [1], with all that was stated of both
    at_least: bool = False  # whether the change is the least that a display tells, and its way not
    apart: bool = False  # whether points are sessions of their own, as in an audit, else one sweep

    @property
    def frequency(self) -> Real:
        """Of the second reading [Hz]."""
        return self.calibration.frequency

    def squared(self) -> Real:
        """The square of the change, in the measure of what was stated of both readings [1]."""
        squared = squared_distance(self.change.value, self.change.covariance())
        return as_normal(squared, degrees_of_freedom(self.change))

    def drift(self, frequency: Real) -> Real:
        """What drift of each error term explains the rest, standard deviations [1] at [Hz].

        What noise, connections, the display and the stated drift explain is no evidence of more.
        All error terms are taken to have drifted alike, and each of both axes by as much as the
        whole change: one reading shows one of many ways to move, and by chance a short one.
        """
        squared, change = self.squared(), self.change
        # the squared distance of two normal variables exceeds -2 ln p with probability p
        told = squared > -2 * np.log(EXPLAINED) if self.apart else far_off(squared, EXPLAINED)
        more = np.maximum(np.abs(change.value) ** 2 - 2 * change.variance(), 0) * told
        # the square of what a drift of all terms changes, at the plane
        slopes = list(self.calibration.by_drift(self.first).values())
        at_plane = np.abs(self.calibration.error_box.derivative(self.first)) ** 2
        by_drift = np.sum(np.abs(slopes) ** 2, axis=0) / at_plane
        return np.interp(frequency, self.frequency, np.sqrt(more / by_drift))


@dataclass(frozen=True, eq=False)
class Bench:
    """The analyzer and the standards that were read with it, all in one reference impedance."""

    analyzer: Analyzer = field(default_factory=Analyzer)
    standards: tuple[Known, ...] = ()
    z_ref: float = defaults.REFERENCE_OHM  # [ohm]
    moved: tuple[Moved, ...] = ()  # what was read again after the devices

    def calibration(self, frequency: Real | None = None) -> Calibration:
        """The error terms at the standards' frequencies; those asked for where there are none."""
        residual = self.analyzer.residual
        if residual is not None:
            if self.standards or frequency is None:
                raise CalibrationError(
                    "an instrument that corrects itself has no standards: leave out one of the two"
                )
            return self_correcting(frequency, **{**defaults.RESIDUAL, **residual})
        names = [item.name for item in self.standards]
        if twice := next((name for name in names if names.count(name) > 1), None):
            raise CalibrationError(
                f"two standards are named '{twice}': give each a name of its own, or what is "
                "uncertain of them would be taken for one"
            )
        grid = self.standards[0].reading.frequency if self.standards else np.zeros(0)
        seen = [self.raw(item.reading) for item in self.standards]
        found = solve(grid, names, self._connected(grid), seen)
        self._require_independent()
        return found

    def _require_independent(self) -> None:
        """Refuse one reading of two standards."""
        read: dict[Hashable, str] = {}
        for item in self.standards:
            first = read.setdefault(item.reading.evidence or item.name, item.name)
            if first != item.name:
                raise CalibrationError(
                    f"the reading of '{item.name}' is that of '{first}': one sweep is no evidence "
                    "twice; connect the standard again and read it anew, or leave it out"
                )

    def at(self, calibration: Calibration, frequency: Real) -> Calibration:
        """The same calibration at other frequencies."""
        if same_grid(frequency, calibration.frequency):
            return calibration
        if not self.standards:
            return self.calibration(frequency)
        return calibration.at(frequency, self._connected(frequency))

    def _connected(self, frequency: Real) -> list[Quantity]:
        """What each standard is, as connected once."""

        def once(item: Known, index: Index) -> Quantity:
            known = item.quantity(frequency[index], self.z_ref)
            return known.plus(*self.connection(item.name))

        return [worked_out(frequency.size, partial(once, item)) for item in self.standards]

    def connection(self, name: str) -> tuple[Effect, ...]:
        """What connecting it once adds to its reflection at the plane."""
        return both_axes(f"{name}: connection", self.analyzer.connection)

    def raw(self, sweep: Sweep) -> Quantity:
        """A raw reading with noise and display step."""
        return worked_out(
            sweep.frequency.size,
            lambda index: at_points(sweep, index).quantity(self.z_ref, self.analyzer.noise),
        )

    def reading(self, here: Calibration, sweep: Sweep) -> Quantity:
        """A raw reading taken later: error terms may have drifted, and been interpolated."""
        for item in self.standards:
            same = np.array_equal(item.reading.reflection, sweep.reflection)
            if item.reading.label == sweep.label and not same:
                raise CalibrationError(
                    f"'{sweep.label}' was read as a standard and is another reading here: give "
                    "each a label of its own"
                )
        return worked_out(
            sweep.frequency.size,
            lambda index: self._later(here.at_points(index), at_points(sweep, index)),
        )

    def _later(self, here: Calibration, sweep: Sweep) -> Quantity:
        reading, drift = self.raw(sweep), self.analyzer.drift
        drifted = drift_effects(sweep.label, here, reading.value, drift) if drift else ()
        drifts = [moved.drift(here.frequency) for moved in self.moved]
        if drifts and np.any(most := np.max(drifts, axis=0)):
            drifted += drift_effects(sweep.label, here, reading.value, most, MOVED)
        if here.doubt is not None:
            drifted += drift_effects(sweep.label, here, reading.value, here.doubt, BETWEEN)
        return reading.plus(*drifted)

    def again(self, here: Calibration, first: Sweep, second: Sweep) -> Moved:
        """By how much an artefact's second reading differs from its first, at the plane.

        The error terms are those at the second's frequencies, which are among the first's.
        """
        if second.evidence and second.evidence == first.evidence:
            raise CalibrationError(
                f"its reading is the one that '{first.label}' has already: connect it once more "
                "after the devices, and read it anew"
            )
        index = points_of(second.frequency, first.frequency)
        if index is None:
            raise CalibrationError(
                f"it has {grid_words(second.frequency)}, the first reading "
                f"{grid_words(first.frequency)}: read it again at those, or at some of them"
            )
        earlier, later = self.raw(first).at_points(index), self.reading(here, second)
        if first.label not in [item.reading.label for item in self.standards]:
            drift = drift_effects(first.label, here, earlier.value, self.analyzer.drift)
            earlier = earlier.plus(*drift)
        box = here.error_box
        before, after = box.correct(earlier.value), box.correct(later.value)
        parts = [(later, 1 / box.derivative(after)), (earlier, -1 / box.derivative(before))]
        connections = [
            effect for sweep in (first, second) for effect in self.connection(sweep.label)
        ]
        change = combine(after - before, *parts).plus(*connections)
        return Moved(first.label, here, before, change)

    def inputs(self, here: Calibration, sweep: Sweep, path: Sequence[Step] = ()) -> Inputs:
        """All that a device's answer depends on, the path outward from the standards' plane."""
        reading = self.reading(here, sweep)
        connection = Quantity(np.zeros_like(reading.value), self.connection(sweep.label))
        inputs = Inputs(here, reading, connection, tuple(path))
        if all(step.embed for step in path):
            return inputs
        # the device has a connection of its own, behind what is removed
        own = both_axes(
            f"{sweep.label}: connection",
            self.analyzer.connection,
            slope=behind_path(inputs),
            influence=(sweep.label, "connection behind the path"),
        )
        return replace(inputs, connection=connection.plus(*own))

    def corrected(
        self, here: Calibration, sweep: Sweep, path: Sequence[Step] = (), say: Say = silent
    ) -> tuple[Inputs, Quantity]:
        """The inputs of a device's answer, and its reflection [1]."""
        quiet = np.errstate(divide="ignore", invalid="ignore", over="ignore")
        inputs = quiet(self.inputs)(here, sweep, path)

        @quiet
        def part(index: Index) -> Quantity:
            if isinstance(index, slice):
                say(f"correcting '{sweep.label}', point {(index.start or 0) + 1:,}")
            found = propagate(inputs.at(index))
            finite = np.isfinite(found.value) & np.isfinite(found.variance())
            if np.all(finite):
                return found
            raise CalibrationError(
                f"'{sweep.label}' comes to no finite reflection "
                f"{span_mhz(sweep.frequency[index], ~finite)}: look for exchanged sweeps, or a "
                "wrong definition or path"
            )

        return inputs, worked_out(sweep.frequency.size, part)

    def steps(self, here: Calibration, path: Sequence[PathElement]) -> tuple[Step, ...]:
        """A path's elements at the device's frequencies, with their inputs."""
        return tuple(self.step(here, element) for element in path)

    def step(self, here: Calibration, element: PathElement) -> Step:
        """One element of a path at the device's frequencies, with its inputs."""
        known = element.known_by
        if not isinstance(known, Sequence):
            return BY_ITSELF[type(known)](element, known, here.frequency, self.z_ref)
        # each read at another time than the device, so the analyzer has drifted by itself
        readings = (self.reading(here, same_points(sweep, here.frequency)) for sweep in known)
        ends = {sweep.label: reading for sweep, reading in zip(known, readings, strict=True)}
        return by_sweeps(element, here, ends, self.connection)
