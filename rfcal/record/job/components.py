"""Parts: which circuit a corrected device is, or what was read between two ports."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from rfcal.components.circuits import over
from rfcal.components.fit import FitData, Verdict, choose
from rfcal.components.throughs import Ports, fixture_share, reflection_of, removed
from rfcal.errors import CalibrationError
from rfcal.findings import span_mhz
from rfcal.maths.reflection import Real, to_admittance, to_impedance
from rfcal.measurement.bench import Analyzer
from rfcal.readings.sweep import TwoPortSweep, read_two_port
from rfcal.record.format.component import ComponentRequest
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Record
from rfcal.record.job.readings import answer_of, require_same_grid
from rfcal.record.results import Device, Fixture, Part
from rfcal.uncertainty.derived import Figure, Figures, carried, derived
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import active_points

FIXTURE = ("fixture, open", "fixture, short", "fixture, load")
"""What a fixture is read with, in the order of its files."""
MOSTLY = 1.0
"""Of the part's own |Z|, from which a fixture adds more than the part is."""
OF_WAVES = {"swr", "return_loss"}
"""What is read off a reflection and is no figure of a part. In series its resistance is its ESR."""


def equivalents(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    """Of a device's figures those of a part, and the dissipation factor, one over Q."""
    q = figures["q"]
    loss = carried(over, q.value, q.low, q.high, q.unit, q.least)
    own = {name: figure for name, figure in figures.items() if name not in OF_WAVES}
    return own | {"dissipation_factor": loss}


def _part(
    wanted: ComponentRequest,
    sweep: FitData,
    ends: Sequence[Quantity],
    figures: Mapping[str, Figure] | None = None,
) -> Part:
    """The part without its fixture, and no values where there is hardly anything but fixture."""
    if not ends:
        return Part(wanted, choose(sweep, wanted.model), equivalents(figures or _figures(sweep)))
    opened, shorted, *load = ends
    whole = sweep.reflection
    try:
        with np.errstate(divide="ignore", invalid="ignore"):
            own = removed(sweep.frequency, whole, opened, shorted, load[0] if load else None)
            added = fixture_share(whole, own)
    except CalibrationError as error:
        raise wanted.refused(str(error)) from error
    _require_finite(wanted, sweep.frequency, own)
    sweep = replace(sweep, reflection=own)
    hidden = bool(added[sweep.answer] > MOSTLY)
    verdict = Verdict(sweep, (), None, reason="fixture") if hidden else choose(sweep, wanted.model)
    w = 2 * np.pi * sweep.frequency[sweep.answer]
    series = to_impedance(shorted.value, sweep.z_ref)[sweep.answer]
    across = to_admittance(opened.value, sweep.z_ref)[sweep.answer]
    stray = Fixture(added, float(series.imag / w), float(across.imag / w))
    return Part(wanted, verdict, equivalents(_figures(sweep)), stray)


def _figures(sweep: FitData) -> Figures:
    passive = ~active_points(sweep.reflection)
    return derived(sweep.frequency, sweep.reflection, z_ref=sweep.z_ref, passive=passive)


def _require_finite(wanted: ComponentRequest, frequency: Real, found: Quantity) -> None:
    finite = np.isfinite(found.value) & np.isfinite(found.variance())
    if not np.all(finite):
        where = f"comes to no finite impedance {span_mhz(frequency, ~finite)}"
        cure = "look whether nothing passes there, or whether sweeps are exchanged"
        raise wanted.refused(f"'{wanted.measurement}' {where}: {cure}")


def two_ports(record: Record) -> dict[str, list[TwoPortSweep]]:
    """Sweeps of each part read between two ports: its own, the through's, the fixture's."""
    items = {item.name: item for item in record.between_ports}
    found = {}
    for wanted in record.components:
        if wanted.between_ports and wanted.through:
            name = wanted.measurement
            labels = [name, *(f"{name}: {what}" for what in ("through", *FIXTURE))]
            files = (items[name].reading.files[0], wanted.through, *wanted.fixture)
            found[name] = [
                read_two_port(record.folder, file, label=label)
                for file, label in zip(files, labels, strict=False)
            ]
    return found


def at_port(
    wanted: ComponentRequest,
    device: Device,
    at_plane: Callable[[Reading, str], tuple[Real, Quantity]],
    chance: float,
) -> Part:
    """What part a corrected device is; sweeps of a fixture are corrected by `at_plane`."""
    sweep = FitData(device.frequency, device.reflection, device.z_ref, device.answer, chance)
    ends = []
    for file, end in zip(wanted.fixture, FIXTURE, strict=False):
        grid, quantity = at_plane(Reading((file,)), f"{device.name}: {end}")
        require_same_grid(wanted.place, grid, device.frequency, end, f"'{device.name}'")
        ends.append(quantity)
    return _part(wanted, sweep, ends, device.figures)


def between_ports(
    wanted: ComponentRequest,
    record: Record,
    worth: Analyzer,
    sweeps: Sequence[TwoPortSweep],
    chance: float,
) -> Part:
    """What part was read between two ports, by what passes in parts of what passes a through."""
    item = next(m for m in record.between_ports if m.name == wanted.measurement)
    z_ref = record.reference_ohm
    read, through, *ends = sweeps
    for one in (through, *ends):
        of = f"'{item.name}'"
        require_same_grid(wanted.place, one.frequency, read.frequency, one.label, of)
    ports, frequency = Ports(worth), read.frequency
    if worth.residual is not None:
        ports = replace(ports, match=worth.residual["source_match"] / np.sqrt(2))
    how = through, ports, wanted.method, z_ref
    whole, *others = (reflection_of(one, *how) for one in (read, *ends))
    _require_finite(wanted, frequency, whole)
    answer = answer_of(item, frequency)
    return _part(wanted, FitData(frequency, whole, z_ref, answer, chance), others)
