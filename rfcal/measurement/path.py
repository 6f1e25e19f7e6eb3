"""What lies between the standards' plane and a device: known by figures, a file or sweeps."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import span_mhz
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.deembedding import (
    Adapter,
    FixtureBySweeps,
    InSeries,
    LineByFigures,
    LineBySweeps,
    Step,
)
from rfcal.measurement.error_terms import Calibration
from rfcal.models.interpolation import between_points, same_grid
from rfcal.models.line import Line
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

SAME_WAY = 1e-9
"""Passages there and back closer than this part of them are one number, written twice."""
ALIKE = 1e-6
"""Reflections closer than this are one reading, not two [1]."""
MOST_LOSS_DB = 120.0
"""Loss there and back [dB] beyond which no analyzer sees anything of a device."""


@dataclass(frozen=True)
class SeriesPart:
    """A capacitor or a coil in series with a device, its own loss left out."""

    capacitance_f: float | None
    inductance_h: float | None
    uncertainty: float  # of its reactance [1], standard

    def reactance(self, frequency: Real) -> Real:
        """At frequencies [Hz], in ohm."""
        w = 2 * np.pi * frequency
        if self.capacitance_f is not None:
            return np.asarray(-1 / (w * self.capacitance_f))
        assert self.inductance_h is not None
        return np.asarray(w * self.inductance_h)


@dataclass(frozen=True, eq=False)
class PathElement:
    """One thing between the standards' plane and a device, and by what it is known."""

    name: str
    known_by: (
        Line | TwoPortSweep | SeriesPart | Sequence[Sweep]
    )  # sweeps: its far end open, and short
    fixture: bool = False  # whether the sweeps are of a fixture, else of a line
    deviations: Mapping[str, float] = field(default_factory=dict)  # as `usual_doubt`, of which
    # those stand in that are not stated
    embed: bool = False  # whether it is to be added, else removed


def usual_doubt(line: Line) -> dict[str, float]:
    """What is uncertain of a line, in the units of its inputs: as it says, else as `defaults.PATH`.

    The impedance's is in ohm.
    """
    usual = {**defaults.PATH, "impedance": defaults.PATH["impedance"] * line.z0}
    return {**usual, **line.uncertainty}


def by_figures(element: PathElement, line: Line, frequency: Real, z_ref: float) -> Step:
    """A cable at some frequencies [Hz]."""
    there_and_back = 2 * line.loss_db_per_100m(frequency) * line.length_m / 100
    if np.any(lost := there_and_back > MOST_LOSS_DB):
        raise CalibrationError(
            f"there and back it loses {np.max(there_and_back):.3g} dB {span_mhz(frequency, lost)}, "
            "so nothing of the device comes back: check length_m and the loss"
        )
    cable = LineByFigures(frequency, line, z_ref)
    inputs = cable.quantities({**usual_doubt(line), **element.deviations}, element.name)
    return Step(cable, parameters=tuple(inputs), embed=element.embed)


def by_file(element: PathElement, sweep: TwoPortSweep, frequency: Real, z_ref: float) -> Step:
    """An adapter at some frequencies [Hz]: S11, S12 S21 and S22 in its own reference."""
    s = sweep.s
    if np.any(closed := np.abs(s[:, 0, 1] * s[:, 1, 0]) < 10 ** (-MOST_LOSS_DB / 20)):
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
        what = f"the parameters of '{element.name}'"
        rows, doubt = between_points(frequency, sweep.frequency, rows, what=what)
        passing = np.interp(frequency, sweep.frequency, passing)
    alike, source = np.ones_like(passing), f"{element.name}: definition"
    deviation = element.deviations.get("adapter", defaults.PATH["adapter"])
    sizes = np.hypot(np.array([alike, passing, alike]) * deviation, doubt)
    inputs = (
        Quantity(row, both_axes(source, size, influence=(source, what)))
        for what, row, size in zip(("S11", "S12 S21", "S22"), rows, sizes, strict=True)
    )
    return Step(Adapter(sweep.z_ref, z_ref), parameters=tuple(inputs), embed=element.embed)


def by_part(element: PathElement, part: SeriesPart, frequency: Real, z_ref: float) -> Step:
    """A part in series at some frequencies [Hz]."""
    z: Complex = np.asarray(1j * part.reactance(frequency), complex)
    effect = Effect(f"{element.name}: reactance", z * part.uncertainty)
    return Step(InSeries(z_ref), parameters=(Quantity(z, (effect,)),), embed=element.embed)


def same_points(sweep: Sweep, frequency: Real) -> Sweep:
    """A sweep of an element's far end, refused where it was not read at the device's points."""
    if not same_grid(sweep.frequency, frequency):
        raise CalibrationError(
            f"'{sweep.origin.file if sweep.origin else sweep.label}' was not read at the "
            "device's frequencies: read the line open, short and with the device at the same points"
        )
    return sweep


def by_sweeps(
    element: PathElement,
    here: Calibration,
    labels: Sequence[str],
    readings: Sequence[Quantity],
    connection: float,
) -> Step:
    """A line or fixture whose far end was read open and short, each connected by itself."""
    box = FixtureBySweeps() if element.fixture else LineBySweeps()
    corrected = [here.error_box.correct(r.value) for r in readings]
    if np.any(alike := np.abs(corrected[0] - corrected[1]) < ALIKE):
        raise CalibrationError(
            f"its two sweeps, open and short, read alike {span_mhz(here.frequency, alike)}: "
            "look whether one file was named twice"
        )
    through, zero = box.bilinear(corrected), np.zeros(here.frequency.size, complex)
    far_end = element.deviations.get("far end", defaults.PATH["far end"])
    pairs = []
    for label, reading, end in zip(labels, readings, (1.0, -1.0), strict=True):
        with np.errstate(divide="ignore", invalid="ignore"):
            # what the far end is off from 1 or -1, as it is seen at the near side
            slope = through.derivative(np.full(zero.shape, end, complex))
        if np.any(lost := ~np.isfinite(slope)):
            raise CalibrationError(
                f"its two sweeps leave no way through {span_mhz(here.frequency, lost)}: look "
                "whether open and short are exchanged"
            )
        near = both_axes(f"{label}: connection", connection)
        far = both_axes(f"{label}: far end", far_end, slope=slope)
        pairs.append((reading, Quantity(zero, (*near, *far))))
    return Step(box, readings=tuple(pairs), embed=element.embed)
