"""What a plan's device would come to, seen on a display that shows less than R and X."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rfcal.library.device import Device
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.models.interpolation import reaches
from rfcal.readings.display import Beyond
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Artefact, Measurement, Record
from rfcal.record.job.compute import compute
from rfcal.record.job.readings import grid_of
from rfcal.uncertainty.derived import Figure

Shown = tuple[dict[str, Figure], ...]
"""The figures of each answer that remains, at the frequency of the plan."""


def shown(
    record: Record, item: Measurement, hertz: float, expected: Sequence[complex]
) -> dict[complex, Shown]:
    """What the report would say of a device with the standards as they were read.

    Empty where the standards are not all read yet, or where nothing is hidden.
    """
    if not _all_there(record, item, hertz):
        return {}
    inputs = compute(_with(record, item, item.reading)).device(item.name).inputs
    box = inputs.calibration.error_box
    frequency = inputs.calibration.frequency
    at = int(np.argmin(np.abs(frequency - hertz)))
    found = {}
    for ohm in expected:
        raw = from_impedance(np.full(frequency.size, ohm), record.reference_ohm)
        for step in reversed(inputs.path):
            through = step.through(box)
            raw = (through.correct if step.embed else through.apply)(raw)
        reading = _displayed(record, item.reading, frequency, box.apply(raw))
        device = compute(_with(record, item, reading)).device(item.name)
        answers = [device, device.other] if device.two_answers[at] else [device]
        found[ohm] = tuple(_figures_at(one, at) for one in answers if one is not None)
    return found


def _all_there(record: Record, item: Measurement, hertz: float) -> bool:
    """Whether a reading of the device alone is all that is still to come."""
    items: tuple[Artefact | Measurement, ...] = (*record.standards, item)
    hidden = item.reading.shows_less or any(one.reading.shows_less for one in record.standards)
    sizes = item.reading.typed_z or item.reading.typed_swr
    if not hidden or not (sizes or item.reading.typed):
        return False
    if any(part.line is None and part.part is None for part in item.between):
        return False
    grids = [grid_of(record, one) for one in items]
    return all(grid is not None and reaches(grid, hertz) for grid in grids)


def _with(record: Record, item: Measurement, reading: Reading) -> Record:
    """The record as far as it is read, with another reading of the device alone."""
    return replace(
        record,
        checks=tuple(one for one in record.checks if grid_of(record, one) is not None),
        measurements=(replace(item, reading=reading, same_as=None),),
        rereads=tuple(one for one in record.rereads if grid_of(record, one) is not None),
        matches=(),
        components=(),
        between_ports=(),
        line_check=None,
    )


def _displayed(record: Record, like: Reading, frequency: Real, raw: Complex) -> Reading:
    """A raw reflection [1] as the device's display would show it."""
    z = to_impedance(raw, record.reference_ohm)
    read = [*(one.reading for one in record.standards), *(o.reading for o in record.measurements)]
    typed = [reading.beyond for reading in read if reading.typed is not None]
    most = min((cell for row in typed for cell in row), default=np.inf)

    def cells(values: Real) -> list[float]:
        return [Beyond(most) if abs(v) > most else float(v) for v in values]

    mhz = [float(f) / 1e6 for f in frequency]
    if like.typed is not None:
        x = z.imag if like.sign_known else np.abs(z.imag)
        return replace(like, typed=list(zip(mhz, cells(z.real), cells(x), strict=True)))
    return replace(
        like,
        typed_z=like.typed_z and list(zip(mhz, cells(np.abs(z)), strict=True)),
        typed_swr=like.typed_swr and list(zip(mhz, map(float, swr(raw)), strict=True)),
    )


def _figures_at(device: Device, at: int) -> dict[str, Figure]:
    return {
        name: replace(f, value=f.value[[at]], low=f.low[[at]], high=f.high[[at]])
        for name, f in device.figures.items()
    }
