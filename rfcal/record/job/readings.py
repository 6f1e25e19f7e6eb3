"""A record's readings and checks, refused where grids differ or where they are no evidence."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np

from rfcal.defaults import FALSE_ALARM
from rfcal.errors import CalibrationError, RecordError
from rfcal.findings import grid_words
from rfcal.maths.reflection import Real
from rfcal.measurement.bench import Bench, Known
from rfcal.measurement.deembedding import PathElement, Step
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import region
from rfcal.models.interpolation import SAME, reaches, same_grid
from rfcal.models.standards import Standard, Tabulated
from rfcal.readings.display import Display, Options, certain
from rfcal.readings.sweep import Sweep, TwoPortSweep, read_sweep, read_two_port
from rfcal.record.findings.passivity import as_expected
from rfcal.record.format.path import Between
from rfcal.record.format.reading import Item, Reading
from rfcal.record.format.schema import FILE, Artefact, Measurement, Record
from rfcal.record.results import Check
from rfcal.uncertainty.coverage import K_ELLIPSE


def read_options(record: Record, reading: Reading, label: str, place: str) -> Options:
    """A raw reading of a record, from its files or as typed; its place is for errors.

    One option, but of a display that shows less.
    """
    if reading.files:
        how: Any = {"label": label, "z_ref": record.reference_ohm, "layout": reading.layout}
        return certain(read_sweep(record.folder, *reading.files, **how))
    display = Display(label, record.reference_ohm, f"{FILE}, {place}", reading.steps)
    if reading.typed is not None:
        display = replace(display, steps=(record.display_step_ohm,) * 2)
        return display.impedances(reading.typed, sign_known=reading.sign_known)
    if reading.typed_reflection is not None:
        return display.polar(reading.typed_reflection)
    return display.sizes(reading.typed_z or (), reading.typed_swr or ())


def there(record: Record, item: Item) -> Options | None:
    """A reading; None where it is not there yet, in a plan."""
    reading = item.reading
    if reading == Reading() or not all((record.folder / file).is_file() for file in reading.files):
        return None
    return read_options(record, reading, item.name, item.place)


def model_of(record: Record, item: Artefact) -> tuple[Standard | Tabulated, tuple[Sweep, ...]]:
    """What a standard or check is, and the file that tells it, if one does."""
    if item.definition is None:
        assert item.model is not None
        return item.model, ()
    name, z_ref = f"{item.name}: definition", record.reference_ohm
    table = read_sweep(record.folder, item.definition, label=name, z_ref=z_ref)
    model = Tabulated(table.frequency, table.reflection, table.z_ref, item.uncertainty, item.name)
    return model, (table,)


def element(record: Record, item: Between) -> tuple[PathElement, tuple[Sweep | TwoPortSweep, ...]]:
    """One element as it is known, from the record's words and its files, and what was read."""
    adapter = item.adapter and read_two_port(record.folder, item.adapter, label=item.name)
    ends = tuple(
        read_options(record, reading, f"{item.name}, {end}", f"{item.place} {end}").sweeps[0]
        for end, reading in zip(("open", "short"), item.ends, strict=False)
    )
    known = adapter or item.line or item.part or ends
    fixture = item.kind == "fixture"
    made = PathElement(item.name, known, fixture, deviations=item.doubt, embed=item.embed)
    return made, (adapter,) if adapter else ends


def common_grid(record: Record, sweeps: Mapping[str, Sweep]) -> Real:
    """The frequencies [Hz] of the standards, refused where they are not the same for all.

    Those of the first measurement for an instrument that corrects itself.
    """
    first, *others = record.standards or record.measurements[:1]
    grid, of = sweeps[first.name].frequency, f"that of '{first.name}'"
    for item in others:
        require_same_grid(item.place, sweeps[item.name].frequency, grid, "its reading", of)
    return grid


def require_same_grid(place: str, found: Real, grid: Real, what: str, of: str) -> None:
    """Refuse one reading that has other frequencies [Hz] than another; words name both."""
    if not same_grid(grid, found):
        why = f"{what} has {grid_words(found)}, but {of} has {grid_words(grid)}"
        if grid.size == found.size:
            at = int(np.argmax(np.abs(grid - found) > SAME * grid))
            here, there = (f"{one[at] / 1e6:.10g} MHz" for one in (found, grid))
            why += f"; point {at + 1} is {here} here and {there} there"
        raise RecordError(FILE, place, f"{why}: read all of them at the same frequencies")


@contextmanager
def refused_at(place: str) -> Iterator[None]:
    """What cannot be computed is refused with its place in the record."""
    try:
        yield
    except CalibrationError as error:
        raise RecordError(FILE, place, str(error)) from error


def require_one_unit(record: Record, sweeps: Mapping[str, Sweep]) -> None:
    """Refuse readings whose frequencies are a thousand or a million times those of the first."""
    items = record.items()  # none of a line's state by an instrument that corrects itself
    for item in items[1:]:
        own, usual = (sweeps[one.name].frequency for one in (item, items[0]))
        if wrong := other_unit(own, usual, f"'{items[0].name}'"):
            raise item.refused(f"its reading has {wrong}")


def other_unit(own: Real, usual: Real, of: str) -> str:
    """What is wrong with frequencies [Hz] in another unit than those of something else."""
    if not (factor := unit_factor(float(np.mean(own)), float(np.mean(usual)))):
        return ""
    look = "look which of the two has the wrong unit of frequency, Hz, kHz or MHz"
    return f"{grid_words(own)}, about {factor} those of {of}: {look}"


def unit_factor(one_hz: float, other_hz: float) -> str:
    """By which unit one frequency seems to be another's, in words; nothing where it is by none."""
    words = {1e3: "1,000 times", 1e6: "1,000,000 times", 1e-3: "1/1,000 of", 1e-6: "1/1,000,000 of"}
    return next((words[by] for by in words if 0.5 < one_hz / other_hz / by < 2), "")


def require_independent(record: Record, sweeps: Mapping[str, Sweep]) -> None:
    """Refuse a check's reading that a standard has too: it could contradict nothing."""
    standards = {sweeps[one.name].digits: one.name for one in reversed(record.standards)}
    for check in record.checks:
        if name := standards.get(sweeps[check.name].digits):
            raise check.refused(
                f"its reading is that of the standard '{name}', which took part in the solution "
                "and so cannot contradict it: check with an artefact that is no standard"
            )


def chance_of_each(record: Record, sweeps: Mapping[str, Sweep]) -> float:
    """The chance of a false alarm [1] of each verdict that chance alone may turn: they share one.

    A check that was swept is asked twice, whether it lies where it should and whether it turns so.
    """
    over = len(record.standards) > 3  # only then can they contradict each other
    swept = sum(sweeps[check.name].frequency.size > 1 for check in record.checks)
    twins = sum(item.same_as is not None for item in record.measurements)
    tests = over + swept + twins
    tests += sum(map(len, (record.checks, record.rereads, record.measurements, record.components)))
    return FALSE_ALARM / max(tests, 1)


def answer_of(item: Measurement, frequency: Real) -> int:
    """Index of the frequency at which the answer is quoted."""
    wanted = item.answer_hz
    if wanted is None:
        return frequency.size // 2
    if not reaches(frequency, wanted):
        why = f"{wanted / 1e6:.10g} MHz is outside its reading, which has {grid_words(frequency)}"
        if factor := unit_factor(float(np.mean(frequency)), wanted):
            why += f", {factor} that: give answer_mhz in MHz, or look at the unit of the readings"
        raise RecordError(FILE, f"{item.place} answer_mhz", why)
    return int(np.argmin(np.abs(frequency - wanted)))


def checked(
    bench: Bench,
    here: Calibration,
    known: Known,
    *,
    at: str | None = None,
    path: tuple[Step, ...] = (),
    chance: float = FALSE_ALARM,
) -> Check:
    """One check, by the error terms at its frequencies and the path to the device's place `at`."""
    frequency = known.reading.frequency
    inputs, measured = bench.corrected(here, known.reading, path)
    expected = known.quantity(frequency, bench.z_ref)
    where = region(inputs, measured)
    inside = where.squared_distance_to(expected) <= K_ELLIPSE**2  # of the difference of the two
    agrees = as_expected(inputs, measured, where, expected, chance)
    return Check(known.name, frequency, measured, where, expected, inside, agrees, inputs, at)
