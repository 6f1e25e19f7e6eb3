"""Displays that show less than R and X: what was taken for it, and what would tell more."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.findings import Finding, grouped, quoted, span_mhz
from rfcal.library.device import Device
from rfcal.models.line import Line
from rfcal.readings.display import Beyond
from rfcal.record.findings.case import Case
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.findings.catalogue.devices import DEVICE_HIDDEN, LOPSIDED
from rfcal.record.findings.devices import HIDDEN_RADIUS, about_device
from rfcal.record.findings.readings.signs import further, own_doubt, telling_part
from rfcal.record.format import schema
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Artefact, Measurement, Record
from rfcal.record.format.start import starting_record
from rfcal.uncertainty.coverage import region_radius

EXAMPLE = starting_record().encode()
"""The record that everybody starts with."""
KNOWN = 1.5
"""Factor from the least to the greatest R within which R is known."""
NINES = 99.9
"""The least number [ohm or 1] of nines alone that is taken for a display's end."""


def about_displays(record: Record) -> list[Finding]:
    """Readings of which a display showed less, and steps that the digits typed tell."""
    polar = (one for one in record.items() if one.reading.typed_reflection is not None)
    by_steps, found = grouped((one.reading.steps, one.name) for one in polar), _about_limit(record)
    steps = [
        say.STEPS_OF.format(magnitude=size, degrees=angle, labels=quoted(names))
        for (size, angle), names in by_steps.items()
    ]
    step, stated = record.display_step_ohm, record.analyzer["resolution_ohm"]
    steps += [say.COARSER.format(step=step, stated=stated)] * (step > stated)
    if steps:
        found.append(say.DISPLAY_STEP(steps="; by ".join(steps)))
    standards = [item for item in record.standards if item.reading.shows_less]
    if signs := [item.name for item in standards if not item.reading.beyond]:
        found.append(say.STANDARD_SIGNS(names=quoted(signs)))
    tell = _tell_standard(record)
    return found + [
        say.OVER_RANGE(name=item.name, tell=tell, **_beyond(item.reading, quoted([item.name])))
        for item in standards
        if item.reading.beyond
    ]


def _beyond(reading: Reading, names: str) -> dict[str, Any]:
    """Of what of these a display tells only that it is beyond, and beyond what."""
    for size, rows in (("|Z|", reading.typed_z), ("SWR", reading.typed_swr)):
        if cut := [row[1] for row in rows or () if isinstance(row[1], Beyond)]:
            return {"names": f"the {size} of {names}", "least": min(cut)}
    return {"names": names, "least": min(reading.beyond)}


def _tell_standard(record: Record) -> str:
    """The standard to read beside what is beyond the display; empty if it is there, or too much."""
    models = [item.model for item in record.standards]
    there = any(one is not None and 100 < one.resistance < np.inf for one in models)
    there = there or sum(bool(item.reading.typed_swr) for item in record.standards) > 3
    return "" if there else say.TELL_STANDARD


def about_planned(
    record: Record, item: Measurement, expected: Sequence[complex], hz: float, *, held: bool
) -> list[Finding]:
    """What the display leaves open, whether a plan holds it, and the readings that would tell."""
    items: tuple[Artefact | Measurement, ...] = (*record.standards, item)
    shown = [one for one in items if one.reading.shows_less]
    if not shown:
        return []
    names = quoted([one.name for one in shown])
    beyond = any(one.reading.beyond for one in record.standards)
    tell = _tell_standard(record) if beyond else ""
    tell += _open(record, item, expected, hz) if item in shown else ""
    so = (say.SO_HELD if held else say.SO_IN_FULL).format(device=item.name)
    return [say.PLAN_SHOWS_LESS(device=item.name, names=names, so=so, remains=tell)]


def _open(record: Record, item: Measurement, expected: Sequence[complex], hz: float) -> str:
    """What stays open of a device, and the reading that would tell it."""
    if alone := _alone(item):
        return f" {alone.message}"
    one = next((one for one in expected if one.imag), None)
    if item.reading.beyond or one is None:
        return ""
    return say.REMAINS_SIGN.format(
        ohm=abs(one.imag), tell=telling_part(item, (), record.reference_ohm, one, hz)
    )


def _alone(item: Measurement) -> Finding | None:
    """That one size of a device is read where two would tell R and the size of X."""
    z, ratio = item.reading.typed_z, item.reading.typed_swr
    if (z is None) == (ratio is None):
        return None
    alone, too = ("|Z|", "SWR") if ratio is None else ("SWR", "|Z|")
    return say.ONE_SIZE(device=item.name, alone=alone, too=too)


def about_shown(
    item: Measurement, device: Device, case: Case, others: Sequence[Measurement] | None
) -> list[Finding]:
    """What is found of a device; where its display leaves it open, what to read in its place.

    The `others` are readings of the same device; None where they do not agree.
    """
    read, told, two = item.reading, _alone(item), device.two_answers
    if told is None and read.beyond:
        mhz = next(row[0] for row in read.rows if any(isinstance(cell, Beyond) for cell in row))
        metres = Line(0.0).wavelength_m(mhz * 1e6) / 8
        cut = _beyond(read, quoted([item.name]))
        told = say.DEVICE_BEYOND(device=item.name, metres=metres, mhz=mhz, **cut)
    small = np.zeros_like(two) if told or not read.shows_less else _but_sign(device)
    found, tell = [told] if told else [], say.TELL_FIRST
    for entry, where in ((say.SIGN_UNKNOWN, two), (say.SIGN_SMALL, small)):
        if np.any(where):
            at = device.answer if where[device.answer] else int(np.argmax(where))
            z, hz = complex(device.impedance.value[at]), float(device.frequency[at])
            tell = "" if where is small and np.any(two) else tell
            if tell and others is not None:
                tell = further(device, at) or telling_part(
                    item, others, case.z_ref, z, hz, float(own_doubt(device.impedance)[at])
                )
            x, span = device.interval[where, 1], span_mhz(device.frequency, where)
            ends = {"low": np.min(x[:, 0]), "high": np.max(x[:, 1])}
            found.append(entry(device=device.name, where=span, tell=tell, **ends))
    less = (DEVICE_HIDDEN.code, LOPSIDED.code) if told else ()
    return found + [f for f in about_device(device, case, small) if f.code not in less]


def _but_sign(device: Device) -> NDArray[np.bool_]:
    """Where the place on the chart is hardly known, but R is, and X is small of either sign."""
    (r_low, r_high), (low, high) = np.moveaxis(device.interval, 0, -1)
    either = (low <= 0) & (high >= 0) & ~device.two_answers & (r_high <= KNOWN * r_low)
    return np.asarray(either & (region_radius(device.reflection) > HIDDEN_RADIUS))


def _about_limit(record: Record) -> list[Finding]:
    """Cells of nothing but nines, as of a display that can show no more."""
    typed = [(c, i.name) for i in record.items() for row in i.reading.rows for c in row[1:]]
    sizes = [(f"{abs(c):g}", name) for c, name in typed if not isinstance(c, Beyond)]
    nines = grouped(one for one in sizes if set(one[0]) <= {*"9."} and float(one[0]) >= NINES)
    return [
        say.DISPLAY_LIMIT(name=names[0], names=quoted(names), cell=cell)
        for cell, names in nines.items()
    ]


def about_example(record: Record) -> list[Finding]:
    """Standards that still read as those of the starting record, where other readings do not."""
    example = [one.reading.typed for one in schema.parse(record.folder, EXAMPLE).items()]
    items = [item for item in record.items() if item.reading.typed]
    left = [item.name for item in items if item.reading.typed in example]
    standards = [item.name for item in record.standards if item.name in left]
    if not standards or len(left) == len(record.items()):
        return []
    return [say.EXAMPLE_LEFT(names=quoted(left))]
