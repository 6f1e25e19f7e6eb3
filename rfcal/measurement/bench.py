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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import span_mhz
from rfcal.maths.reflection import Real
from rfcal.measurement.deembedding import Adapter, Cable, Fixture, Measured, Step
from rfcal.measurement.error_terms import Calibration, calibrate
from rfcal.measurement.instrument import (
    adapter_parameters,
    drift_effects,
    end_effects,
    self_correcting,
    usual_doubt,
)
from rfcal.measurement.model import Inputs, behind_path, propagate
from rfcal.models.interpolation import between_points, same_grid
from rfcal.models.line import Line
from rfcal.models.standards import Standard, Tabulated, with_default_uncertainty
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

SAME_WAY = 1e-9
"""Passages there and back closer than this part of them are one number, written twice."""
ALIKE = 1e-6
"""Reflections closer than this are one reading, not two [1]."""
MOST_LOSS_DB = 120.0
"""Loss there and back [dB] beyond which no analyzer sees anything of a device."""


@dataclass(frozen=True)
class Analyzer:
    """What one raw reading is worth: standard uncertainties of real and imaginary part [1]."""

    noise: float = defaults.ANALYZER["noise"]  # of one reading, new at every frequency
    connection: float = defaults.ANALYZER["connection"]  # of connecting once
    drift: float = defaults.ANALYZER["drift"]  # of each error term, from calibration on
    residual: Mapping[str, float] | None = None  # sizes, of one that corrects itself


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
class PathElement:
    """One thing between the standards' plane and a device, and by what it is known."""

    name: str
    known_by: Line | TwoPortSweep | Sequence[Sweep]  # sweeps: its far end open, and short
    fixture: bool = False  # whether the sweeps are of a fixture, else of a line
    deviations: Mapping[str, float] = field(default_factory=dict)  # as `usual_doubt`, of which
    # those stand in that are not stated
    embed: bool = False  # whether it is to be added, else removed


@dataclass(frozen=True, eq=False)
class Bench:
    """The analyzer and the standards that were read with it, all in one reference impedance."""

    analyzer: Analyzer = field(default_factory=Analyzer)
    standards: tuple[Known, ...] = ()
    z_ref: float = defaults.REFERENCE_OHM  # [ohm]

    def calibration(self, frequency: Real | None = None) -> Calibration:
        """The error terms at the standards' frequencies; those asked for where there are none."""
        residual = self.analyzer.residual
        if residual is not None:
            if self.standards:
                raise CalibrationError(
                    "an instrument that corrects itself has no standards: leave out one of the two"
                )
            if frequency is None:
                raise CalibrationError(
                    "an instrument that corrects itself has no frequencies of its own: say at which"
                )
            return self_correcting(frequency, **{**defaults.RESIDUAL, **residual})
        _require_names([item.name for item in self.standards], "standards")
        _require_names([item.reading.label for item in self.standards], "standards' readings")
        grid = self.standards[0].reading.frequency if self.standards else np.zeros(0)
        seen = [self.raw(item.reading) for item in self.standards]
        return calibrate(grid, [s.name for s in self.standards], self._connected(grid), seen)

    def at(self, calibration: Calibration, frequency: Real) -> Calibration:
        """The same calibration at other frequencies."""
        if same_grid(frequency, calibration.frequency):
            return calibration
        if not self.standards:
            return self.calibration(frequency)
        return calibration.at(frequency, self._connected(frequency))

    def _connected(self, frequency: Real) -> list[Quantity]:
        """What each standard is, as connected once."""
        return [
            item.quantity(frequency, self.z_ref).plus(*self._connection(item.name))
            for item in self.standards
        ]

    def _connection(self, name: str) -> tuple[Effect, ...]:
        return both_axes(f"{name}: connection", self.analyzer.connection)

    def raw(self, sweep: Sweep) -> Quantity:
        """A raw reading with noise and display step."""
        return sweep.quantity(self.z_ref, self.analyzer.noise)

    def reading(self, here: Calibration, sweep: Sweep) -> Quantity:
        """A raw reading taken later: error terms may have drifted, and been interpolated."""
        reading, drift = self.raw(sweep), self.analyzer.drift
        corrected = here.error_box.correct(reading.value)
        drifted = drift_effects(sweep.label, here, reading.value, drift) if drift else ()
        return reading.plus(*here.interpolation_effects(sweep.label, corrected), *drifted)

    def inputs(self, here: Calibration, sweep: Sweep, path: Sequence[Step] = ()) -> Inputs:
        """All that a device's answer depends on, the path outward from the standards' plane."""
        for item in self.standards:
            same = np.array_equal(item.reading.reflection, sweep.reflection)
            if item.reading.label == sweep.label and not same:
                raise CalibrationError(
                    f"'{sweep.label}' was read as a standard and is another reading here: give "
                    "each a label of its own"
                )
        reading = self.reading(here, sweep)
        connection = Quantity(np.zeros_like(reading.value), self._connection(sweep.label))
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
        self, here: Calibration, sweep: Sweep, path: Sequence[Step] = ()
    ) -> tuple[Inputs, Quantity]:
        """The inputs of a device's answer, and its reflection [1]."""
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            inputs = self.inputs(here, sweep, path)
            found = propagate(inputs)
            finite = np.isfinite(found.value) & np.isfinite(found.variance())
        if not np.all(finite):
            raise CalibrationError(
                f"'{sweep.label}' comes to no finite reflection "
                f"{span_mhz(sweep.frequency, ~finite)}: look for exchanged sweeps, or a wrong "
                "definition or path"
            )
        return inputs, found

    def steps(self, here: Calibration, path: Sequence[PathElement]) -> tuple[Step, ...]:
        """A path's elements at the device's frequencies, with their inputs."""
        _require_names([element.name for element in path], "elements of the path")
        return tuple(self.step(here, element) for element in path)

    def step(self, here: Calibration, element: PathElement) -> Step:
        """One element of a path at the device's frequencies, with its inputs."""
        known = element.known_by
        if isinstance(known, Line):
            doubt = {**usual_doubt(known), **element.deviations}
            _require_passage(known, here.frequency)
            cable = Cable(here.frequency, known, self.z_ref)
            parameters = tuple(cable.quantities(doubt, element.name))
            return Step(cable, parameters=parameters, embed=element.embed)
        doubt = {**defaults.PATH, **element.deviations}
        if isinstance(known, TwoPortSweep):
            parameters = _two_port(known, here.frequency, element.name, doubt["adapter"])
            adapter = Adapter(known.z_ref, self.z_ref)
            return Step(adapter, parameters=parameters, embed=element.embed)
        box = Fixture() if element.fixture else Measured()
        readings = self._ends(here, known, box, doubt["far end"])
        return Step(box, readings=readings, embed=element.embed)

    def _ends(
        self,
        here: Calibration,
        sweeps: Sequence[Sweep],
        element: Measured | Fixture,
        far_end: float,
    ) -> tuple[tuple[Quantity, Quantity], ...]:
        """Readings of an element's far end open and short, each with its connection."""
        for sweep in sweeps:
            if not same_grid(sweep.frequency, here.frequency):
                raise CalibrationError(
                    f"'{sweep.origin.file if sweep.origin else sweep.label}' was not read at the "
                    "device's frequencies: read the line open, short and with the device at the "
                    "same points"
                )
        # each read at another time than the device, so the analyzer has drifted by itself
        readings = [self.reading(here, sweep) for sweep in sweeps]
        corrected = [here.error_box.correct(r.value) for r in readings]
        if np.any(alike := np.abs(corrected[0] - corrected[1]) < ALIKE):
            raise CalibrationError(
                f"its two sweeps, open and short, read alike {span_mhz(here.frequency, alike)}: "
                "look whether one file was named twice"
            )
        through, zero = element.bilinear(corrected), np.zeros(here.frequency.size, complex)
        pairs = []
        for reading, end, sweep in zip(readings, (1.0, -1.0), sweeps, strict=True):
            with np.errstate(divide="ignore", invalid="ignore"):
                effects = end_effects(sweep.label, through, end, self.analyzer.connection, far_end)
            if np.any(lost := ~np.isfinite(effects[-1].change)):
                raise CalibrationError(
                    f"its two sweeps leave no way through {span_mhz(here.frequency, lost)}: look "
                    "whether open and short are exchanged"
                )
            pairs.append((reading, Quantity(zero, effects)))
        return tuple(pairs)


def _require_names(names: Sequence[str], what: str) -> None:
    """Refuse two of one name: what is uncertain of them would be one influence."""
    twice = [name for i, name in enumerate(names) if name in names[:i]]
    if twice:
        raise CalibrationError(
            f"two {what} are named '{twice[0]}': give each a name of its own, or what is "
            "uncertain of them would be taken for one"
        )


def _require_passage(line: Line, frequency: Real) -> None:
    there_and_back = 2 * line.loss_db_per_100m(frequency) * line.length_m / 100
    lost = there_and_back > MOST_LOSS_DB
    if np.any(lost):
        raise CalibrationError(
            f"there and back it loses {np.max(there_and_back):.3g} dB {span_mhz(frequency, lost)}, "
            "so nothing of the device comes back: check length_m and the loss"
        )


def _two_port(
    sweep: TwoPortSweep, frequency: Real, name: str, deviation: float
) -> tuple[Quantity, ...]:
    """S11, S12 S21 and S22 of an adapter at the device's frequencies, in its own reference."""
    s = sweep.s
    closed = np.abs(s[:, 0, 1] * s[:, 1, 0]) < 10 ** (-MOST_LOSS_DB / 20)
    if np.any(closed):
        raise CalibrationError(
            f"'{sweep.origin.file if sweep.origin else sweep.label}' lets nothing through and back "
            f"{span_mhz(sweep.frequency, closed)}: an adapter passes both ways"
        )
    rows = np.array([s[:, 0, 0], s[:, 0, 1] * s[:, 1, 0], s[:, 1, 1]])
    doubt: Real | float = 0.0
    # the product of two parameters, each uncertain alike: together where they are one number
    there, back = np.abs(s[:, 1, 0]), np.abs(s[:, 0, 1])
    one = np.allclose(s[:, 1, 0], s[:, 0, 1], rtol=SAME_WAY, atol=0)
    passing = there + back if one else np.hypot(there, back)
    if not same_grid(frequency, sweep.frequency):
        what = f"the parameters of '{name}'"
        rows, doubt = between_points(frequency, sweep.frequency, rows, what=what)
        passing = np.interp(frequency, sweep.frequency, passing)
    return adapter_parameters(name, rows, deviation, passing, doubt)
