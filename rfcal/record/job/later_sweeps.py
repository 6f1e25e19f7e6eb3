"""A record's calibration, kept and applied to sweeps that were taken later."""

import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from rfcal.errors import ArgumentError, ReadingError, RfcalError
from rfcal.findings import Finding
from rfcal.library.calibrated import CalibratedAnalyzer
from rfcal.library.device import Device
from rfcal.models.interpolation import reaches
from rfcal.readings.rows import Say, silent
from rfcal.readings.sweep import read_guessed
from rfcal.record.files import slug
from rfcal.record.findings.case import Case
from rfcal.record.findings.devices import about_device
from rfcal.record.job.readings import other_unit
from rfcal.record.results import Results

COLUMNS = "frequency_hz,r_ohm,x_ohm,r_low_ohm,r_high_ohm,x_low_ohm,x_high_ohm"
"""Of a corrected sweep as CSV: R and X, and the ends of their 95 % intervals, empty where none."""

MOST_WAYS = 3
"""Measurements whose paths are offered by name."""


def corrected(
    results: Results, files: Sequence[Path], like: str = "", say: Say = silent
) -> Iterator[Device]:
    """New sweeps at the standards' plane, or beyond the path of the measurement they are like.

    Columns that were guessed are said.
    """
    names = [file.stem for file in files]
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise ArgumentError(f"two sweeps are named '{twice}': give them names that differ")
    analyzer = CalibratedAnalyzer(results.bench, results.calibration)
    other = results.device(like) if like else None
    # as the record's own answer is quoted
    quoted = next((d.frequency[d.answer] for d in (other, *results.devices) if d), np.nan)
    taken = {item.reading.label for item in results.bench.standards}
    for file in files:
        # a new reading has errors of its own, which go by its name
        label = f"{file.stem}, again" if file.stem in taken else file.stem
        z_ref = results.bench.z_ref
        sweep, layout = read_guessed(file.parent, file.name, label=label, z_ref=z_ref)
        if layout.columns:
            say(f"the columns of {file.name} were guessed: {layout.words}")
        if wrong := other_unit(sweep.frequency, analyzer.frequency, "the calibration"):
            raise ReadingError(str(file), f"it has {wrong}")
        try:
            device = analyzer.correct(sweep)
            if other is not None and other.between:
                device = device.behind(other.between)
        except RfcalError as error:
            raise ReadingError(str(file), str(error)) from error
        if reaches(device.frequency, quoted):
            nearest = np.argmin(np.abs(device.frequency - quoted))
            device = replace(device, answer=int(nearest))
        yield device


def no_path_words(results: Results, like: str) -> list[str]:
    """That no path is taken away, where the record's measurements lie behind one."""
    behind = [device.name for device in results.devices if device.between]
    if like or not behind:
        return []
    ways = " or ".join(f"--like {shlex.quote(name)}" for name in behind[:MOST_WAYS])
    plane = "NO path is taken away: what follows holds at the standards' plane"
    return [f"{plane}; whose path lies before the new sweeps, say by {ways}"]


def findings(results: Results, devices: Sequence[Device]) -> list[Finding]:
    """What there is to say about them, the record's own warnings on its calibration first."""
    about = {"standards", *results.calibration.names, *(check.name for check in results.checks)}
    kept = [f for f in results.findings if f.severity != "note" and f.about in about]
    case = Case(results.calibration, solved=bool(results.record.standards))
    return kept + [f for device in devices for f in about_device(device, case)]


def age_words(results: Results, today: date) -> str:
    """How old the calibration is, and what may have changed since."""
    then = results.record.date
    days = (today - date.fromisoformat(str(then))).days if then else None
    old = "of unknown age" if days is None else f"{days} days old" if days != 1 else "a day old"
    return (
        f"the calibration is {old}: the intervals hold for the session it was made in. Since then "
        "the analyzer's warmth and settings, the cable up to the standards' plane and its "
        "connectors may have changed; read the short once more and correct it too: it should come "
        "out as the short it is"
    )


def csv_text(device: Device) -> str:
    """R and X of a corrected sweep with the ends of their intervals, to be read by any program."""
    z, ends = device.impedance.value, device.interval.reshape(-1, 4)
    table = np.column_stack([device.frequency, z.real, z.imag, ends]).tolist()
    text = "\n".join(("%.10g" + ",%.7g" * 6) % tuple(row) for row in table)
    return f"{COLUMNS}\n{re.sub('-?(nan|inf)', '', text)}\n"


def sweep_files(devices: Sequence[Device]) -> Iterator[tuple[str, bytes]]:
    """Corrected sweeps by the names of their files: Touchstone and CSV."""
    for device in devices:
        yield f"{slug(device.name)}-corrected.s1p", device.touchstone().encode()
        yield f"{slug(device.name)}-corrected.csv", csv_text(device).encode()
