"""Readings in, a calibrated analyzer out: the same bench as a record's, with the same defaults."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from rfcal import defaults
from rfcal.errors import ArgumentError, CalibrationError
from rfcal.findings import grid_words, span_mhz
from rfcal.library.device import Device
from rfcal.maths.arguments import choice, reference
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.bench import Analyzer, Bench, Known
from rfcal.measurement.error_terms import Calibration, implausible, turn_of
from rfcal.models.interpolation import same_grid
from rfcal.models.standards import Reflector, Standard, Tabulated
from rfcal.readings.rows import MOST_POINTS, Say, silent
from rfcal.readings.sweep import NPort, Sweep, as_sweep, read_sweep

AnyStandard = TypeVar("AnyStandard", bound=Reflector)

CONTRADICTION = 1e-6
"""Chance below which residuals of four standards or more contradict each other at a frequency."""


def read(
    *files: str | Path,
    name: str = "",
    z_ref: float = defaults.REFERENCE_OHM,
    progress: Say = silent,
) -> Sweep:
    """A raw reading from a Touchstone or CSV file, or the mean of several of one thing.

    Parameters
    ----------
    *files : str or Path
        One file; or two and more sweeps of the same, whose scatter then counts as noise.
    name : str
        What it is of; the (first) file's name without its ending by default.
    z_ref : float
        Reference impedance [ohm] of a CSV file of reflections; a Touchstone file says its own.
    progress : callable
        Called with a few words on how far it is, such as ``print``, for somebody who waits.

    Returns
    -------
    Sweep
        The reading.

    Examples
    --------
    >>> print(read("data/demo/beacon-antenna/raw/antenna.s1p"))
    antenna: 201 points from 69 to 72 MHz, in 50 ohm
    """
    if not files:
        raise ArgumentError("one file or more is to be read, and none is named")
    reference(z_ref)
    how: Any = {"z_ref": z_ref, "most": MOST_POINTS, "say": progress}
    return read_sweep(Path(), *map(str, files), label=name or Path(files[0]).stem, **how)


@dataclass(frozen=True, eq=False)
class CalibratedAnalyzer:
    """An analyzer whose error terms are known: it corrects readings. `calibrate` gives one.

    Parameters
    ----------
    bench : Bench
        The analyzer and the standards, each with its reading.
    terms : Calibration
        The error terms, and what they rest on.

    Examples
    --------
    >>> import rfcal
    >>> raw = "data/demo/beacon-antenna/raw"
    >>> names = ("short", "open", "load", "antenna")
    >>> short, opened, load, antenna = (rfcal.read(f"{raw}/{name}.s1p") for name in names)
    >>> standards = (rfcal.Standard(kind) for kind in ("short", "open", "load"))
    >>> calibrated = rfcal.calibrate(dict(zip(standards, (short, opened, load))))
    >>> calibrated
    <CalibratedAnalyzer by short, open, load: 201 points from 69 to 72 MHz>
    >>> terms = calibrated.directivity, calibrated.source_match, calibrated.reflection_tracking
    >>> print(calibrated.frequency[0] / 1e6, *(f"{abs(term[0]):.3f}" for term in terms))
    69.0 0.048 0.017 0.798
    >>> print(calibrated.correct(antenna).at(70.2e6).resistance)
    31.15 ± 0.50 ohm
    """

    bench: Bench
    terms: Calibration

    def __repr__(self) -> str:
        names = ", ".join(self.terms.names)
        return f"<CalibratedAnalyzer by {names}: {grid_words(self.frequency)}>"

    @property
    def frequency(self) -> Real:
        """Frequencies of the standards [Hz], shape (F,)."""
        return self.terms.frequency

    @property
    def directivity(self) -> Complex:
        """What is seen of a perfect match [1], shape (F,)."""
        return self.terms.error_box.directivity

    @property
    def source_match(self) -> Complex:
        """What the analyzer reflects of what comes back [1], shape (F,)."""
        return self.terms.error_box.source_match

    @property
    def reflection_tracking(self) -> Complex:
        """Gain of the way there and back [1], shape (F,)."""
        return self.terms.error_box.reflection_tracking

    def correct(self, reading: Sweep | NPort, *, name: str = "", progress: Say = silent) -> Device:
        """The device that a raw reading was taken of, at the standards' plane.

        Parameters
        ----------
        reading : Sweep or skrf.Network
            The raw reading; its frequencies lie within those of the standards.
        name : str
            Name of the device; that of the reading by default.
        progress : callable
            Called with a few words on how far it is, and again where more is asked of very many
            points later.

        Returns
        -------
        Device
            The corrected measurement. Of very many points its effects are worked out when asked,
            piece by piece, so that two million take less than 1 GB.

        Raises
        ------
        CalibrationError
            Frequencies out of reach, or a reading that comes to no finite reflection.
        """
        sweep = as_sweep(reading, name)
        here = self.bench.at(self.terms, sweep.frequency)
        inputs, reflection = self.bench.corrected(here, sweep, say=progress)
        middle = sweep.frequency.size // 2
        return Device(sweep.label, sweep, inputs, reflection, self.bench, (), middle)

    def reread(self, standard: str, reading: Sweep | NPort) -> "CalibratedAnalyzer":
        """The analyzer, as uncertain as a standard read once more after the devices shows it.

        Parameters
        ----------
        standard : str
            Name of the standard.
        reading : Sweep or skrf.Network
            The later raw reading, at the standards' frequencies or some of them.

        Returns
        -------
        CalibratedAnalyzer
            With the same error terms. How far the standard moved beyond what noise, connections
            and drift explain is taken for more drift of what it corrects; one that stayed where it
            was changes nothing.

        Raises
        ------
        CalibrationError
            No standard of this name, or other frequencies.

        Examples
        --------
        >>> seen = {"short": -0.95, "open": 0.94, "load": 0.02, "antenna": 0.2j}
        >>> sweeps = {name: Sweep([70e6, 71e6], [x, x], label=name) for name, x in seen.items()}
        >>> standards = {Standard(kind): sweeps[kind] for kind in ("short", "open", "load")}
        >>> later = Sweep([70e6, 71e6], [0.05, 0.05])
        >>> warm = calibrate(standards).reread("load", later)
        >>> print(warm.correct(sweeps["antenna"]).at(70e6).reactance)
        19.4 ± 6.0 ohm
        """
        choice(standard, "the standard that was read again", self.terms.names)
        again = as_sweep(reading, f"{standard}, read again")
        first = self.bench.standards[self.terms.names.index(standard)].reading
        moved = self.bench.again(self.bench.at(self.terms, again.frequency), first, again)
        return replace(self, bench=replace(self.bench, moved=(*self.bench.moved, moved)))


def calibrate(
    standards: Mapping[AnyStandard, Sweep | NPort],
    *,
    analyzer: Analyzer | None = None,
    z_ref: float = defaults.REFERENCE_OHM,
    progress: Say = silent,
) -> CalibratedAnalyzer:
    """Find the error terms of an analyzer, and of all before the plane, from known standards.

    Parameters
    ----------
    standards : mapping of Standard (or Tabulated) to Sweep or skrf.Network
        Three or more, each with its raw reading at the plane, all at the same frequencies. What
        a standard does not state of its uncertainty has the default of its kind.
    analyzer : Analyzer, optional
        What one raw reading is worth.
    z_ref : float
        Reference impedance of all results [ohm]; readings in others are renormalised.
    progress : callable
        Called with a few words on what is being done.

    Returns
    -------
    CalibratedAnalyzer
        To correct readings with.

    Raises
    ------
    CalibrationError
        Fewer than three standards, standards that cannot be told apart at some frequency, four and
        more that contradict each other at most frequencies, or such that make an analyzer that
        there is not.

    Warns
    -----
    UserWarning
        Error terms that only an exchanged short and open, or a wrong sign of X, leave over a band.

    Examples
    --------
    >>> f = [70e6, 71e6]
    >>> seen = {"short": -0.95, "open": 0.94, "load": 0.02, "antenna": 0.2j}
    >>> sweeps = {name: Sweep(f, [x, x], label=name) for name, x in seen.items()}
    >>> standards = {Standard(kind): sweeps[kind] for kind in ("short", "open", "load")}
    >>> print(calibrate(standards).correct(sweeps["antenna"]).at(70e6).reactance)
    19.41 ± 0.78 ohm
    """
    reference(z_ref)
    known = tuple(_known(model, reading) for model, reading in standards.items())
    if analyzer is not None and analyzer.residual is not None:
        raise CalibrationError(
            "an instrument that corrects itself has no standards to be calibrated by: write a "
            "record with its residual errors, and compute that"
        )
    _require_readings(known)
    bench = Bench(analyzer or Analyzer(), known, float(z_ref))
    progress(f"the error terms at {known[0].reading.frequency.size:,} points")
    calibration = bench.calibration()
    _require_agreement(calibration)
    _require_plausible(calibration)
    _warn_of_turn(bench, calibration)
    return CalibratedAnalyzer(bench, calibration)


def _require_readings(known: Sequence[Known]) -> None:
    """Refuse none at all, and readings at unlike frequencies."""
    if not known:
        raise CalibrationError("no standard is given, and three or more that differ are needed")
    grid = known[0].reading.frequency
    for item in known[1:]:
        if not same_grid(grid, item.reading.frequency):
            raise CalibrationError(
                f"the reading of '{item.name}' has {grid_words(item.reading.frequency)}, that of "
                f"'{known[0].name}' {grid_words(grid)}: read all standards at the same frequencies"
            )


def _require_agreement(calibration: Calibration) -> None:
    """Refuse four standards or more of which at least one cannot be what it is said to be."""
    bad = calibration.disagrees(CONTRADICTION)
    if 2 * np.count_nonzero(bad) > bad.size:
        off = np.max(np.abs(calibration.residuals()[:, bad]), axis=1)
        shares = ", ".join(
            f"'{name}' by {size:.2g}" for name, size in zip(calibration.names, off, strict=True)
        )
        raise CalibrationError(
            f"the standards contradict each other {span_mhz(calibration.frequency, bad)}: the best "
            f"fit leaves {shares} of reflection, and which of them is wrong it does not tell; look "
            "at their values and readings, or leave one out at a time"
        )


def _require_plausible(calibration: Calibration) -> None:
    """Refuse error terms that no analyzer has at most frequencies."""
    for name, beyond in implausible(calibration.error_box).items():
        if 2 * np.count_nonzero(beyond) > beyond.size:
            worst = np.max(np.abs(getattr(calibration.error_box, name.replace(" ", "_"))))
            raise CalibrationError(
                f"the standards make an analyzer with a {name} of {worst:.2g}, which no sound one "
                "has: look for exchanged readings, a wrong definition or a wrong sign of X"
            )


def _warn_of_turn(bench: Bench, calibration: Calibration) -> None:
    """Say what three standards cannot contradict and their analyzer still shows."""
    own = calibration.error_box.renormalised(bench.z_ref, bench.standards[0].reading.z_ref)
    turn = turn_of(own.reflection_tracking, calibration.frequency, calibration.seen)
    if turn and turn.backward:
        said = "turns anticlockwise as no delay does: look whether all readings are conjugated"
    elif turn and turn.half:
        said = "starts half a turn off: look whether the readings of short and open are exchanged"
    else:
        return
    doubt = f"what is corrected with it, {grid_words(calibration.frequency)}, is not sure yet"
    warnings.warn(f"the reflection tracking {said}; {doubt}", stacklevel=3)


def _known(model: Any, reading: Sweep | NPort) -> Known:
    if not isinstance(model, Standard | Tabulated):
        raise ArgumentError(
            f"a standard is given as a Standard or a Tabulated, found {type(model).__name__}"
        )
    if isinstance(model, Standard) and model.reflection([1e9]).ndim > 1:
        raise ArgumentError(f"'{model.name}' is many draws, and a calibration needs one standard")
    return Known(model.name, model, as_sweep(reading, model.name))
