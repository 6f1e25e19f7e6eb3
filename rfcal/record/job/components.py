"""Parts: which circuit a corrected device is."""

from collections.abc import Sequence

from rfcal.components.choice import choose
from rfcal.components.equivalents import equivalents
from rfcal.components.fit import Sweep
from rfcal.record.format.component import ComponentRequest
from rfcal.record.results import Device, Part


def part_of(wanted: ComponentRequest, devices: Sequence[Device]) -> Part:
    """What part one of the devices is."""
    device = next(d for d in devices if d.name == wanted.measurement)
    sweep = Sweep(device.frequency, device.reflection, device.z_ref, device.answer)
    return Part(wanted, choose(sweep, wanted.model), equivalents(device.figures))
