"""From the record's words about a path to the steps that remove or add it."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rfcal.errors import RecordError
from rfcal.findings import span_mhz
from rfcal.maths.reflection import Real
from rfcal.measurement import deembedding as path
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.instrument import adapter_parameters, drift_effects, end_effects
from rfcal.models.interpolation import between_points, same_grid
from rfcal.models.line import Line
from rfcal.readings.sweep import Sweep, TwoPortSweep, read_sweep, read_two_port
from rfcal.record.format.path import Between
from rfcal.record.format.schema import FILE, Record
from rfcal.uncertainty.quantity import Quantity

SAME_WAY = 1e-9
"""Passages there and back closer than this part of them are one number, written twice."""
ALIKE = 1e-6
"""Reflections closer than this are one reading, not two [1]."""
MOST_LOSS_DB = 120.0
"""Loss there and back [dB] beyond which no analyzer sees anything of a device."""


def path_sweeps(record: Record, item: Between) -> tuple[Sweep | TwoPortSweep, ...]:
    """Read the files of one element.

    Parameters
    ----------
    record : Record
        The record.
    item : Between
        The element.

    Returns
    -------
    tuple of Sweep or TwoPortSweep
        Open and short, or an adapter; empty for a cable.
    """
    folder: Path = record.folder
    if item.kind == "adapter":
        return (read_two_port(folder, item.files[0], label=item.name),)
    ends = zip(("open", "short"), item.files, strict=False)
    return tuple(
        read_sweep(folder, file, label=f"{item.name}, {end}", z_ref=record.reference_ohm)
        for end, file in ends
    )


def step(
    record: Record,
    item: Between,
    sweeps: tuple[Sweep | TwoPortSweep, ...],
    calibration: Calibration,
) -> path.Step:
    """One step of a path at the device's frequencies.

    Parameters
    ----------
    record : Record
        The record.
    item : Between
        The element.
    sweeps : tuple of Sweep or TwoPortSweep
        Its files, as `path_sweeps` gave them.
    calibration : Calibration
        At the device's frequencies.

    Returns
    -------
    Step
        Element and inputs, with their effects.

    Raises
    ------
    RecordError
        Sweeps of a line at other frequencies than the device, or a line too lossy to see through.
    """
    frequency, z_ref = calibration.frequency, record.reference_ohm
    if item.line is not None:
        _require_passage(item, item.line, frequency)
        cable = path.Cable(frequency, item.line, z_ref)
        quantities = cable.quantities(dict(item.doubt), item.name)
        return path.Step(cable, parameters=tuple(quantities), embed=item.embed)
    first = sweeps[0]
    if isinstance(first, TwoPortSweep):
        parameters = _adapter(first, frequency, item)
        return path.Step(path.Adapter(first.z_ref, z_ref), parameters=parameters, embed=item.embed)
    element = path.Measured() if item.kind == "measured" else path.Fixture()
    readings = [_reading(record, item, s, calibration) for s in sweeps if isinstance(s, Sweep)]
    corrected = [calibration.error_box.correct(r.value) for r in readings]
    if np.any(alike := np.abs(corrected[0] - corrected[1]) < ALIKE):
        raise RecordError(
            FILE,
            item.place,
            f"its two sweeps, open and short, read alike {span_mhz(frequency, alike)}: look "
            "whether one file was named twice",
        )
    through = element.bilinear(corrected)
    pairs = []
    for reading, end, sweep in zip(readings, (1.0, -1.0), sweeps, strict=True):
        with np.errstate(divide="ignore", invalid="ignore"):
            effects = end_effects(
                sweep.label, through, end, record.analyzer["connection"], item.doubt["far end"]
            )
        if np.any(lost := ~np.isfinite(effects[-1].change)):
            raise RecordError(
                FILE,
                item.place,
                f"its two sweeps leave no way through {span_mhz(frequency, lost)}: look whether "
                "open and short are exchanged",
            )
        pairs.append((reading, Quantity(np.zeros(frequency.size, complex), effects)))
    return path.Step(element, readings=tuple(pairs), embed=item.embed)


def _require_passage(item: Between, line: Line, frequency: Real) -> None:
    there_and_back = 2 * line.loss_db_per_100m(frequency) * line.length_m / 100
    lost = there_and_back > MOST_LOSS_DB
    if np.any(lost):
        raise RecordError(
            FILE,
            item.place,
            f"there and back it loses {np.max(there_and_back):.3g} dB {span_mhz(frequency, lost)}, "
            "so nothing of the device comes back: check length_m and the loss",
        )


def _reading(record: Record, item: Between, sweep: Sweep, calibration: Calibration) -> Quantity:
    """The raw reading of a line's end, at the device's own frequencies."""
    if not same_grid(sweep.frequency, calibration.frequency):
        raise RecordError(
            FILE,
            item.place,
            f"'{sweep.origin.file if sweep.origin else sweep.label}' was not read at the device's "
            "frequencies: read the line open, short and with the device at the same points",
        )
    reading = sweep.quantity(record.reference_ohm, record.analyzer["noise"])
    corrected = calibration.error_box.correct(reading.value)
    # read at another time than the device, so the analyzer has drifted by itself
    drift = record.analyzer["drift"]
    drifted = drift_effects(calibration, reading.value, drift) if drift else ()
    return reading.plus(*calibration.interpolation_effects(corrected), *drifted)


def _adapter(sweep: TwoPortSweep, frequency: Real, item: Between) -> tuple[Quantity, ...]:
    """S11, S12 S21 and S22 of an adapter at the device's frequencies, in its own reference."""
    s = sweep.s
    closed = np.abs(s[:, 0, 1] * s[:, 1, 0]) < 10 ** (-MOST_LOSS_DB / 20)
    if np.any(closed):
        raise RecordError(
            FILE,
            item.place,
            f"'{sweep.origin.file}' lets nothing through and back "
            f"{span_mhz(sweep.frequency, closed)}: an adapter passes both ways",
        )
    rows = np.array([s[:, 0, 0], s[:, 0, 1] * s[:, 1, 0], s[:, 1, 1]])
    doubt: Real | float = 0.0
    if not same_grid(frequency, sweep.frequency):
        what = f"the parameters of '{item.name}'"
        rows, doubt = between_points(frequency, sweep.frequency, rows, what=what)
    # the product of two parameters, each uncertain alike: together where they are one number
    there, back = np.abs(s[:, 1, 0]), np.abs(s[:, 0, 1])
    one = np.allclose(s[:, 1, 0], s[:, 0, 1], rtol=SAME_WAY, atol=0)
    passing = np.interp(frequency, sweep.frequency, there + back if one else np.hypot(there, back))
    return adapter_parameters(item.name, rows, item.doubt["adapter"], passing, doubt)


def plane_words(items: Sequence[Between]) -> str:
    """Where a device's answer holds.

    Parameters
    ----------
    items : sequence of Between
        Its path.

    Returns
    -------
    str
        Such as ``"the standards' plane with antenna: line 1 removed"``.
    """
    if not items:
        return "the standards' plane"
    removed = [item.name for item in items if not item.embed]
    added = [item.name for item in items if item.embed]
    said = [f"the standards' plane with {', '.join(removed)} removed"] if removed else []
    said += [f"{', '.join(added)} added"] if added else []
    return " and ".join(said) if removed else f"the standards' plane with {said[0]}"
