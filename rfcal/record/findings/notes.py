"""Findings about what a record leaves open: defaults that stood in, and readings as they came."""

from collections.abc import Mapping, Sequence

import numpy as np

from rfcal import defaults
from rfcal.findings import Finding, span_mhz
from rfcal.models.interpolation import SAME
from rfcal.readings.sweep import Sweep
from rfcal.record.format.schema import RESIDUAL, Artefact, Measurement, Record


def assumptions(record: Record) -> list[Finding]:
    """What the record leaves to defaults about the analyzer.

    Parameters
    ----------
    record : Record
        The record.

    Returns
    -------
    list of Finding
        One note naming the keys and values, or nothing.
    """
    typed = any(item.reading.typed for item in record.items())
    keys = [k for k in record.assumed if k != "resolution_ohm" or typed]
    if not keys:
        return []
    usual = dict(defaults.ANALYZER) | {k: defaults.RESIDUAL[v] for k, v in RESIDUAL.items()}
    values = ", ".join(f"{key} = {usual[key]:g}" for key in keys)
    message = f"The record does not say, so this was taken: {values}. State your analyzer's own."
    return [Finding("analyzer-default", "note", "[analyzer]", message)]


def default_uncertainty(name: str, kind: str, missing: Mapping[str, float]) -> Finding:
    """A standard or artefact whose uncertainty the record leaves to the default, or a part of it.

    Parameters
    ----------
    name : str
        Its name.
    kind : str
        Its kind.
    missing : mapping of str to float
        The defaults taken, keys as in `rfcal.models.defaults.STANDARD`.

    Returns
    -------
    Finding
        A note with the values taken.
    """
    values = ", ".join(f"{k} {v:.2g}" for k, v in missing.items())
    message = (
        f"Not every uncertainty of '{name}' is stated, so the usual ones of kind '{kind}' were "
        f"taken ({values}, in SI units). State what you know of yours, or 'uncertainty' for the "
        "whole of it."
    )
    return Finding("uncertainty-default", "note", name, message)


def load_value(item: Artefact) -> list[Finding]:
    """A load whose resistance the record does not state.

    Parameters
    ----------
    item : Artefact
        A standard or check artefact.

    Returns
    -------
    list of Finding
        One note, or nothing.
    """
    if item.model is None or item.model.kind != "load" or item.resistance_stated:
        return []
    message = (
        f"The resistance of '{item.name}' is not stated, so {item.model.resistance:g} ohm was "
        "taken: measure it with an ohmmeter and state resistance_ohm."
    )
    return [Finding("load-default", "note", item.name, message)]


def references(record: Record, sweeps: Sequence[Sweep]) -> list[Finding]:
    """Bare reflections beside files that state another reference impedance than the record's.

    Parameters
    ----------
    record : Record
        The record.
    sweeps : sequence of Sweep
        All its raw readings.

    Returns
    -------
    list of Finding
        One warning, or nothing.
    """
    bare = [s.label for s in sweeps if s.assumed_reference]
    other = next((s for s in sweeps if s.z_ref != record.reference_ohm), None)
    if not bare or other is None:
        return []
    message = (
        f"'{bare[0]}' is given as a bare reflection, which was taken to refer to "
        f"{record.reference_ohm:g} ohm, but '{other.label}' states {other.z_ref:g} ohm: if both "
        "are from one analyzer, give it as Touchstone with its own R, or as R and X."
    )
    return [Finding("mixed-references", "warning", bare[0], message)]


def raw_reading(sweep: Sweep) -> list[Finding]:
    """A raw reading beyond the chart's edge: normal before correction.

    Parameters
    ----------
    sweep : Sweep
        A raw reading.

    Returns
    -------
    list of Finding
        One note, or nothing.
    """
    beyond = np.abs(sweep.reflection) > 1
    if not np.any(beyond):
        return []
    message = (
        f"The raw reading of '{sweep.label}' is above 1 in magnitude "
        f"{span_mhz(sweep.frequency, beyond)}; that is normal for an uncorrected analyzer."
    )
    return [Finding("raw-above-one", "note", sweep.label, message)]


def off_grid(device: str, wanted_hz: float, taken_hz: float) -> list[Finding]:
    """An answer asked for between the points of the reading.

    Parameters
    ----------
    device : str
        The measurement.
    wanted_hz, taken_hz : float
        Frequency asked for, and that of the nearest point [Hz].

    Returns
    -------
    list of Finding
        One note, or nothing.
    """
    if abs(wanted_hz - taken_hz) <= SAME * taken_hz:
        return []
    message = (
        f"'{device}' was not read at {wanted_hz / 1e6:.10g} MHz: the answer is that of the nearest "
        f"point, {taken_hz / 1e6:.10g} MHz."
    )
    return [Finding("answer-nearest", "note", device, message)]


def display_step(item: Artefact | Measurement) -> list[Finding]:
    """A typed magnitude and angle, whose display step is taken from the digits typed.

    Parameters
    ----------
    item : Artefact or Measurement
        What was read.

    Returns
    -------
    list of Finding
        One note, or nothing.
    """
    if item.reading.typed_reflection is None:
        return []
    magnitude, degrees = item.reading.steps
    message = (
        f"By the digits typed for '{item.name}', its display was taken to step by {magnitude:g} "
        f"in magnitude and {degrees:g} degrees; type every digit shown, zeros too."
    )
    return [Finding("display-step", "note", item.name, message)]


def interpolated(name: str) -> Finding:
    """A reading that lies between the calibration's points.

    Parameters
    ----------
    name : str
        The measurement or check.

    Returns
    -------
    Finding
        A note.
    """
    message = (
        f"'{name}' was read at other frequencies than the standards; the error terms were "
        "interpolated by a cubic spline, and what that costs is in the budget. Reading the "
        "standards at the same frequencies avoids it."
    )
    return Finding("interpolated", "note", name, message)
