"""What a plan takes from what was read already: frequencies, and what lies before a device."""

import numpy as np

from rfcal.findings import grid_words
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Real
from rfcal.measurement.bench import Analyzer, Bench, Known
from rfcal.models.interpolation import reaches
from rfcal.models.line import Line
from rfcal.planning.setup import Length
from rfcal.record.format.path import Between
from rfcal.record.format.reading import Reading
from rfcal.record.format.reread import Reread
from rfcal.record.format.schema import Artefact, Measurement, Record
from rfcal.record.job import readings

LENGTH_M = 0.05
"""Of what its own sweeps or a file will tell about, and nothing does yet [m]."""


def grid_of(record: Record, item: Artefact | Measurement | Reread) -> Real | None:
    """The frequencies [Hz] of a reading; None where it is not there yet."""
    reading = item.reading
    if reading == Reading() or not all((record.folder / file).is_file() for file in reading.files):
        return None
    return readings.read(record, reading, item.name, item.place).frequency


def path_of(
    record: Record, item: Measurement, hertz: float
) -> tuple[tuple[Length, ...], dict[str, str]]:
    """What lies before a device, and why elements were taken as short that nothing tells about."""
    found, unknown = [], {}
    for part in item.between:
        if part.embed or part.part is not None:
            continue
        seen = None
        if part.line is None:
            why = _untold(record, part, hertz)
            if why:
                unknown[part.name] = why
            else:
                seen = _seen(record, part, hertz)
        line = part.line or Line(LENGTH_M, 1.0, record.reference_ohm)
        found.append(Length(part.name, line, part.doubt, part.kind, seen))
    return tuple(found), unknown


def _untold(record: Record, part: Between, hertz: float) -> str:
    """Why sweeps or a file do not tell yet what an element is; empty where they do."""
    own = [file for reading in part.ends for file in reading.files]
    own += [part.adapter] if part.adapter is not None else []
    if not all((record.folder / file).is_file() for file in own):
        return "nothing tells of it yet"
    if part.adapter is None and any(grid_of(record, one) is None for one in record.standards):
        return "its sweeps will tell of it once the standards are read"
    if part.adapter is None and any(one.reading.shows_less for one in record.standards):
        return (
            "its sweeps cannot tell of it before the report, for a display shows less than R and X"
        )
    grid = readings.path_sweeps(record, part)[0].frequency
    if not reaches(grid, hertz):
        return f"what tells of it has {grid_words(grid)}"
    return ""


def _seen(record: Record, part: Between, hertz: float) -> Bilinear:
    """What the sweeps or the file of an element say that it is at a frequency [Hz]."""
    sweeps, alone = readings.path_sweeps(record, part), part.adapter is not None
    analyzer = Analyzer(residual={} if alone else record.residual)  # a file needs none
    bench = Bench(analyzer, () if alone else _read(record), record.reference_ohm)
    grid = np.array([hertz]) if alone else sweeps[0].frequency
    here = bench.at(bench.calibration(grid), grid)
    box = bench.step(here, readings.element(part, sweeps)).through(here.error_box)
    at = [int(np.argmin(np.abs(grid - hertz)))]
    return Bilinear(*(np.broadcast_to(v, grid.shape)[at] for v in (box.a, box.b, box.c, box.d)))


def _read(record: Record) -> tuple[Known, ...]:
    """The standards as they were read."""
    found = []
    for one in record.standards:
        sweep = readings.read(record, one.reading, one.name, one.place).sweeps[0]
        found.append(Known(one.name, readings.model_of(record, one)[0], sweep))
    return tuple(found)
