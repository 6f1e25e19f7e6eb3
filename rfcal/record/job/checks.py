"""A check artefact, corrected and held against what it is."""

from rfcal.defaults import FALSE_ALARM
from rfcal.measurement.bench import Bench, Known
from rfcal.measurement.deembedding import Step
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.model import region
from rfcal.record.findings.checks import agree, inside_region
from rfcal.record.results import Check
from rfcal.uncertainty.coverage import degrees_of_freedom


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
    freedom = degrees_of_freedom(measured.plus(*expected.effects))
    return Check(
        name=known.name,
        frequency=frequency,
        measured=measured,
        region=where,
        expected=expected,
        inside=inside_region(where, expected),
        agrees=agree(where, expected, chance, freedom),
        inputs=inputs,
        at=at,
    )
