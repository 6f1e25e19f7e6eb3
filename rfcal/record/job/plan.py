"""Before the climb: what a record's set-up will be able to say, before anything is read."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rfcal.errors import CalibrationError, RecordError
from rfcal.findings import Finding, grid_words, sorted_findings
from rfcal.measurement.bench import Known
from rfcal.models.interpolation import reaches
from rfcal.planning.plan import Plan, plan
from rfcal.planning.setup import Length, Setup
from rfcal.record.findings.catalogue.readings import PLAN_ELSEWHERE
from rfcal.record.findings.catalogue.standards import STANDARDS_CLOSE
from rfcal.record.findings.checks import about_builds, about_checks
from rfcal.record.findings.displays import about_planned
from rfcal.record.findings.standards import about_standards
from rfcal.record.findings.unseen import about_unseen
from rfcal.record.format import schema
from rfcal.record.format.schema import Artefact, Measurement, Record
from rfcal.record.job import readings
from rfcal.record.job.checks import checked
from rfcal.record.job.plan_path import grid_of, path_of
from rfcal.record.job.plan_shown import Shown, shown

TRIED = (1.0, 0.2, 5.0, 1.0 + 2.0j)
"""Impedances that a device may turn out to have, in parts of the reference impedance."""


@dataclass(frozen=True, eq=False)
class Planned:
    """What is to be expected of one measurement."""

    name: str
    frequency_hz: float
    plans: dict[complex, Plan]  # by what the device may turn out to be [ohm]
    unknown: dict[str, str]  # elements of the path that were taken as short, and why
    # what the plans do not hold: what the display leaves open, and readings at other frequencies
    unshown: tuple[Finding, ...]
    elsewhere: tuple[Finding, ...]
    shown: dict[complex, Shown]  # what the report would say, where a display shows less


@dataclass(frozen=True, eq=False)
class Outlook:
    """What is to be expected of a record."""

    record: Record
    planned: tuple[Planned, ...]
    findings: tuple[Finding, ...]


def outlook(folder: Path, *, hertz: float | None = None, ohm: complex | None = None) -> Outlook:
    """What a record's set-up will say of its devices, its analyzer taken as a perfect one.

    At one frequency [Hz], the answer's by default, of a device of one impedance [ohm], or of a few.
    """
    record = schema.load(folder, ahead=True)
    if not record.measurements:
        raise RecordError(schema.FILE, "measurement", "there is no [[measurement]] to plan")
    expected = [part * record.reference_ohm for part in TRIED] if ohm is None else [ohm]
    planned, setups = [], []
    for item in record.measurements:
        at = hertz or _frequency(record, item)
        try:
            path, unknown = path_of(record, item, at)
            setup = _setup(record, item, at, path)
            plans = {complex(value): plan(setup, value) for value in expected}
        except CalibrationError as error:
            raise RecordError(schema.FILE, item.place, str(error)) from error
        setups.append(setup)
        seen = shown(record, item, at, list(plans))
        unshown = tuple(about_planned(record, item, list(plans), at, held=bool(seen)))
        planned.append(
            Planned(item.name, at, plans, unknown, unshown, _elsewhere(record, item, at), seen)
        )
    return Outlook(record, tuple(planned), _findings(record, setups[0]))


def _frequency(record: Record, item: Measurement) -> float:
    """Where the answer will be quoted [Hz]: as stated, or by the readings that are there."""
    if item.answer_hz is not None:
        return item.answer_hz
    items: tuple[Artefact | Measurement, ...] = (item, *record.standards)
    for one in items:
        if (frequency := grid_of(record, one)) is not None:
            return float(frequency[frequency.size // 2])
    raise RecordError(
        schema.FILE, item.place, "nothing says at which frequency: give answer_mhz, or say --mhz"
    )


def _elsewhere(record: Record, item: Measurement, hertz: float) -> tuple[Finding, ...]:
    """That what was read already does not reach the frequency [Hz] of the plan."""
    items: tuple[Artefact | Measurement, ...] = (item, *record.standards)
    for one in items:
        grid = grid_of(record, one)
        if grid is not None and not reaches(grid, hertz):
            return (PLAN_ELSEWHERE(name=one.name, mhz=hertz / 1e6, grid=grid_words(grid)),)
    return ()


def _setup(record: Record, item: Measurement, hertz: float, path: tuple[Length, ...]) -> Setup:
    """The set-up of one measurement."""
    z_ref, shown = record.reference_ohm, item.reading
    return Setup(
        np.array([hertz]),
        {one.name: readings.model_of(record, one)[0] for one in record.standards},
        noise=record.analyzer["noise"],
        connection=record.analyzer["connection"],
        drift=record.analyzer["drift"],
        lines=path,
        z_ref=z_ref,
        typed=shown.typed is not None,
        resolution_ohm=record.display_step_ohm,
        typed_steps=shown.steps if shown.typed_reflection is not None else None,
        residual=record.residual,
    )


def _findings(record: Record, setup: Setup) -> tuple[Finding, ...]:
    """What stands against the set-up whatever will be read, and what it cannot notice."""
    bench, z_ref, solved = setup.bench(), setup.z_ref, record.residual is None
    calibration = bench.calibration(setup.frequency)
    checks = []
    for item in record.checks:
        model = readings.model_of(record, item)[0]
        raw = setup.box().apply(model.reflection(setup.frequency, z_ref=z_ref))
        checks.append(
            checked(bench, calibration, Known(item.name, model, setup.read(item.name, raw)))
        )
    return sorted_findings(
        (
            # all else is of error terms, and no analyzer has read these standards
            *(
                f
                for f in about_standards(calibration, z_ref=z_ref)
                if f.code == STANDARDS_CLOSE.code
            ),
            *about_checks(checks, calibration, solved=solved, z_ref=z_ref),
            *about_builds(record),
            *about_unseen(record),
        )
    )
