"""Before the climb: what a record's set-up will be able to say, before anything is read."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.errors import RecordError
from rfcal.findings import Finding, grid_words, sorted_findings
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.bench import Analyzer, Bench, Known
from rfcal.measurement.deembedding import path_map
from rfcal.models.interpolation import reaches
from rfcal.models.line import Line
from rfcal.planning.plan import Length, Plan, Setup, plan
from rfcal.readings.display import Beyond, Options, as_shown
from rfcal.record.findings.case import Case
from rfcal.record.findings.catalogue.readings import PLAN_ELSEWHERE
from rfcal.record.findings.catalogue.standards import STANDARDS_CLOSE
from rfcal.record.findings.readings.displays import about_planned
from rfcal.record.findings.standards import about_builds, about_checks, about_standards
from rfcal.record.findings.unsaid import about_unseen
from rfcal.record.format import schema
from rfcal.record.format.path import Between
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Measurement, Record
from rfcal.record.job import readings
from rfcal.record.job.compute import compute
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.quantity import at_points

TRIED = (1.0, 0.2, 5.0, 1.0 + 2.0j)
"""Impedances that a device may turn out to have, in parts of the reference impedance."""
Read = Mapping[str, Options]
"""What was read already, by its name."""
Shown = tuple[dict[str, Figure], ...]
"""The figures of each answer that remains, at the frequency of the plan."""


@dataclass(frozen=True, eq=False)
class Planned:
    """What is to be expected of one measurement."""

    name: str
    frequency_hz: float
    plans: dict[complex, Plan]  # by what the device may turn out to be [ohm]
    unknown: dict[str, str]  # elements of the path that were taken as short, and why
    unshown: Sequence[Finding]  # what the display leaves open
    elsewhere: Sequence[Finding]  # what was read at other frequencies
    shown: dict[complex, Shown]  # what the report would say, where a display shows less


@dataclass(frozen=True, eq=False)
class Outlook:
    """What is to be expected of a record."""

    record: Record
    planned: tuple[Planned, ...]
    findings: tuple[Finding, ...]
    unread: str  # the first that was not read yet; empty where all were


def outlook(folder: Path, *, hertz: float | None = None, ohm: complex | None = None) -> Outlook:
    """What a record's set-up will say of its devices, its analyzer taken as a perfect one.

    At one frequency [Hz], the answer's by default, of a device of one impedance [ohm], or of a few.
    """
    record = schema.load(folder, ahead=True)
    if not record.measurements:
        raise RecordError(schema.FILE, "measurement", "there is no [[measurement]] to plan")
    there = {one.name: found for one in record.items() if (found := readings.there(record, one))}
    expected = [part * record.reference_ohm for part in TRIED] if ohm is None else [ohm]
    planned = []
    for item in record.measurements:
        names = (item.name, *(one.name for one in record.standards))
        grids = {name: there[name].frequency for name in names if name in there}
        at = hertz or _frequency(item, grids)
        with readings.refused_at(item.place):
            path, unknown = _path_of(record, there, item, at)
            setup = _setup(record, item, at, path)
            plans = {complex(value): plan(setup, value) for value in expected}
        whole = _all_there(record, item, grids, at)
        seen = _shown(record, there, item, at, list(plans)) if whole else {}
        unshown = about_planned(record, item, list(plans), at, held=bool(seen))
        elsewhere = [
            PLAN_ELSEWHERE(name=name, mhz=at / 1e6, grid=grid_words(grid))
            for name, grid in grids.items()
            if not reaches(grid, at)
        ]
        planned.append(Planned(item.name, at, plans, unknown, unshown, elsewhere[:1], seen))
    first = next(iter(planned[0].plans.values())).setup
    unread = (one.name for one in record.items() if one.name not in there)
    return Outlook(record, tuple(planned), _findings(record, first), next(unread, ""))


def _frequency(item: Measurement, grids: dict[str, Real]) -> float:
    """Where the answer will be quoted [Hz]: as stated, or by the readings that are there."""
    if item.answer_hz is not None:
        return item.answer_hz
    for grid in grids.values():
        return float(grid[grid.size // 2])
    raise item.refused("nothing says at which frequency: give answer_mhz, or say --mhz")


def _setup(record: Record, item: Measurement, hertz: float, path: tuple[Length, ...]) -> Setup:
    """The set-up of one measurement."""
    shown, worth = item.reading, record.analyzer
    stated: Any = {key: worth[key] for key in ("noise", "connection", "drift")}
    return Setup(
        np.array([hertz]),
        {one.name: readings.model_of(record, one)[0] for one in record.standards},
        **stated,
        lines=path,
        z_ref=record.reference_ohm,
        resolution_ohm=record.display_step_ohm if shown.typed is not None else 0.0,
        typed_steps=shown.steps if shown.typed_reflection is not None else None,
        residual=record.residual,
    )


def _findings(record: Record, setup: Setup) -> tuple[Finding, ...]:
    """What stands against the set-up whatever will be read, and what it cannot notice."""
    bench, z_ref = setup.bench(), setup.z_ref
    calibration = bench.calibration(setup.frequency)
    checks = []
    for item in record.checks:
        model = readings.model_of(record, item)[0]
        raw = setup.box().apply(model.reflection(setup.frequency, z_ref=z_ref))
        known = Known(item.name, model, setup.read(item.name, raw))
        checks.append(readings.checked(bench, calibration, known))
    # all else is of error terms, and no analyzer has read these standards
    case = Case(calibration, checks, z_ref, solved=record.residual is None)
    close = [f for f in about_standards(case) if f.code == STANDARDS_CLOSE.code]
    return sorted_findings(
        (*close, *about_checks(case), *about_builds(record), *about_unseen(record))
    )


def _path_of(
    record: Record, there: Read, item: Measurement, hertz: float
) -> tuple[tuple[Length, ...], dict[str, str]]:
    """What lies before a device, and why elements were taken as short that nothing tells about."""
    found, unknown = [], {}
    for part in item.between:
        if part.embed or part.part is not None:
            continue
        seen = None if part.line else _seen(record, there, part, hertz)
        if isinstance(seen, str):
            unknown[part.name], seen = seen, None
        line = part.line or Line(defaults.PLANNED_LENGTH_M, 1.0, record.reference_ohm)
        found.append(Length(part.name, line, part.doubt, part.kind, seen))
    return tuple(found), unknown


def _seen(record: Record, there: Read, part: Between, hertz: float) -> Bilinear | str:
    """What an element is at a frequency [Hz] by its sweeps or file, or why they do not tell yet."""
    own = [part.adapter] if part.adapter else [file for end in part.ends for file in end.files]
    standards = () if part.adapter else record.standards
    if not all((record.folder / file).is_file() for file in own):
        return "nothing tells of it yet"
    if any(one.name not in there or one.reading.shows_less for one in standards):
        return "its sweeps will tell of it in the report, with the standards"
    element, sweeps = readings.element(record, part)
    if not reaches(grid := sweeps[0].frequency, hertz):
        return f"what tells of it has {grid_words(grid)}"
    analyzer = Analyzer(residual={} if part.adapter else record.residual)  # a file needs none
    known = (
        Known(one.name, readings.model_of(record, one)[0], there[one.name].sweeps[0])
        for one in standards
    )
    bench = Bench(analyzer, tuple(known), record.reference_ohm)
    grid = np.array([hertz]) if part.adapter else grid
    here = bench.at(bench.calibration(grid), grid)
    box = bench.step(here, element).through(here.error_box)
    at = int(np.argmin(np.abs(grid - hertz)))
    return at_points(box, slice(at, at + 1))


def _shown(
    record: Record, there: Read, item: Measurement, hertz: float, expected: Sequence[complex]
) -> dict[complex, Shown]:
    """What the report would say of a device with the standards as they were read."""
    inputs = compute(_with(record, there, item, item.reading)).device(item.name).inputs
    box, frequency = inputs.calibration.error_box, inputs.calibration.frequency
    whole = box @ path_map(box, inputs.path)
    at = int(np.argmin(np.abs(frequency - hertz)))
    found = {}
    for ohm in expected:
        seen = whole.apply(from_impedance(np.full(frequency.size, ohm), record.reference_ohm))
        reading = _displayed(record, item.reading, frequency, seen)
        device = compute(_with(record, there, item, reading)).device(item.name)
        answers = [device, device.other if device.two_answers[at] else None]
        found[ohm] = tuple(
            {name: at_points(figure, slice(at, at + 1)) for name, figure in one.figures.items()}
            for one in answers
            if one is not None
        )
    return found


def _all_there(record: Record, item: Measurement, grids: dict[str, Real], hertz: float) -> bool:
    """Whether a display shows less, and a reading of the device alone is still to come."""
    return (
        (item.reading.shows_less or any(one.reading.shows_less for one in record.standards))
        and bool(item.reading.rows)
        and all(part.line or part.part for part in item.between)
        and len(grids) > len(record.standards)
        and all(reaches(grid, hertz) for grid in grids.values())
    )


def _with(record: Record, there: Read, item: Measurement, reading: Reading) -> Record:
    """The record as far as it is read, with another reading of the device alone."""
    return replace(
        record,
        checks=tuple(one for one in record.checks if one.name in there),
        measurements=(replace(item, reading=reading, same_as=None),),
        rereads=tuple(one for one in record.rereads if one.name in there),
        matches=(),
        components=(),
        between_ports=(),
        line_check=None,
    )


def _displayed(record: Record, like: Reading, frequency: Real, raw: Complex) -> Reading:
    """A raw reflection [1] as the device's display would show it."""
    seen = as_shown(to_impedance(raw, record.reference_ohm), record.reference_ohm)
    typed = [one.reading for one in record.items() if one.reading.typed is not None]
    most = min((cell for reading in typed for cell in reading.beyond), default=np.inf)

    def cells(values: Real) -> list[float]:
        return [Beyond(most) if abs(v) > most else float(v) for v in values]

    mhz = [float(f) / 1e6 for f in frequency]
    if like.typed is not None:
        x = seen["X"] if like.sign_known else np.abs(seen["X"])
        return replace(like, typed=list(zip(mhz, cells(seen["R"]), cells(x), strict=True)))
    return replace(
        like,
        typed_z=like.typed_z and list(zip(mhz, cells(seen["|Z|"]), strict=True)),
        typed_swr=like.typed_swr and list(zip(mhz, map(float, seen["SWR"]), strict=True)),
    )
