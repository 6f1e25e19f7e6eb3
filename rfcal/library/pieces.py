"""Sweeps too long to be corrected at once: piece after piece, each with its own calibration."""

from collections.abc import Callable, Iterator, Mapping

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import grid_words
from rfcal.library.calibrated import AnyStandard, calibrate
from rfcal.library.device import Device
from rfcal.maths.arguments import number
from rfcal.measurement.bench import Analyzer
from rfcal.models.interpolation import same_grid
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import at_points

PIECE = 50_000
"""Points that are corrected at once: about 60 MB of influences."""


def correct_in_pieces(
    standards: Mapping[AnyStandard, Sweep],
    reading: Sweep,
    *,
    analyzer: Analyzer | None = None,
    z_ref: float = defaults.REFERENCE_OHM,
    points: int = PIECE,
    say: Callable[[str], object] = lambda said: None,
) -> Iterator[Device]:
    """Correct a sweep of up to two million points in the memory that a piece of it takes.

    Parameters
    ----------
    standards : mapping of Standard (or Tabulated) to Sweep
        As for `calibrate`.
    reading : Sweep
        The raw reading, at the standards' own frequencies.
    analyzer : Analyzer, optional
        What one raw reading is worth.
    z_ref : float
        Reference impedance of all results [ohm].
    points : int
        Points of a piece.
    say : callable
        Called with a few words before each piece, for somebody who waits.

    Returns
    -------
    iterator of Device
        The corrected measurement over each piece, from the lowest frequency up.

    Raises
    ------
    CalibrationError
        As `calibrate` and `correct`, or where the frequencies are not the standards' own.

    Examples
    --------
    >>> import rfcal
    >>> raw = "data/demo/beacon-antenna/raw"
    >>> names = ("short", "open", "load", "antenna")
    >>> *known, antenna = (rfcal.read(f"{raw}/{name}.s1p") for name in names)
    >>> standards = dict(zip((rfcal.Standard(kind) for kind in names[:3]), known))
    >>> for device in rfcal.correct_in_pieces(standards, antenna, points=150, say=print):
    ...     print(device)
    points 1 to 150 of 201
    <Device 'antenna': 150 points from 69 to 71.235 MHz>
    points 151 to 201 of 201
    <Device 'antenna': 51 points from 71.25 to 72 MHz>
    """
    number(points, "the points of a piece", low=1)
    step = int(points)
    for sweep in standards.values():
        if not same_grid(sweep.frequency, reading.frequency):
            raise CalibrationError(
                f"'{reading.label}' has {grid_words(reading.frequency)}, '{sweep.label}' "
                f"{grid_words(sweep.frequency)}: only sweeps at the same frequencies are corrected "
                "in pieces"
            )
    size = reading.frequency.size
    for start in range(0, size, step):
        part = slice(start, start + step)
        say(f"points {start + 1:,} to {min(start + step, size):,} of {size:,}")
        known = {model: at_points(sweep, part) for model, sweep in standards.items()}
        yield calibrate(known, analyzer=analyzer, z_ref=z_ref).correct(at_points(reading, part))
