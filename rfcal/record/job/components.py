"""Parts: which circuit a corrected device is, or what was read between two ports."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from rfcal.components.choice import Verdict, choose
from rfcal.components.circuits import over
from rfcal.components.fit import Sweep
from rfcal.components.fixture import removed, share
from rfcal.components.throughs import Ports, reflection_of
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
from rfcal.uncertainty.derived import Figure, derived
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import active_points

FIXTURE = ("fixture, open", "fixture, short", "fixture, load")
"""What a fixture is read with, in the order of its files."""
MOSTLY = 1.0
"""Of the part's own |Z|, from which a fixture adds more than the part is."""
TWO_ELEMENTS = (
    "resistance",
    "reactance",
    "impedance_magnitude",
    "series_inductance",
    "series_capacitance",
    "parallel_resistance",
    "parallel_inductance",
    "parallel_capacitance",
    "q",
)
"""What is read off a reflection that concerns a part. In series its resistance is its ESR."""


def equivalents(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    """Of a device's figures those of a part, and the dissipation factor, one over Q."""
    q = figures["q"]
    loss = Figure(over(q.value), over(q.high), over(q.low), "", 0.0)
    return {name: figures[name] for name in TWO_ELEMENTS} | {"dissipation_factor": loss}


def _without_fixture(wanted: ComponentRequest, sweep: Sweep, ends: list[Quantity]) -> Part:
    """The part without its fixture, and no values where there is hardly anything but fixture."""
    opened, shorted, *load = ends
    whole = sweep.reflection
    try:
        with np.errstate(divide="ignore", invalid="ignore"):
            own = removed(sweep.frequency, whole, opened, shorted, load[0] if load else None)
            added = share(whole, own)
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
    return Part(wanted, verdict, _equivalents(sweep), stray)


def _equivalents(sweep: Sweep) -> dict[str, Figure]:
    passive = ~active_points(sweep.reflection)
    found = derived(sweep.frequency, sweep.reflection, z_ref=sweep.z_ref, passive=passive)
    return equivalents(found)


def _require_finite(wanted: ComponentRequest, frequency: Real, found: Quantity) -> None:
    finite = np.isfinite(found.value) & np.isfinite(found.variance())
    if not np.all(finite):
        raise wanted.refused(
            f"'{wanted.measurement}' comes to no finite impedance {span_mhz(frequency, ~finite)}: "
            "look whether nothing passes there, or whether sweeps are exchanged",
        )


class Parts:
    """Parts of a record; sweeps of two ports are read at once."""

    def __init__(self, record: Record):
        self.record = record
        self.sweeps: dict[str, list[TwoPortSweep]] = {}  # the part's, through's and fixture's
        items = {item.name: item for item in record.between_ports}
        for wanted in record.components:
            if wanted.between_ports and wanted.through:
                name = wanted.measurement
                labels = [name, *(f"{name}: {what}" for what in ("through", *FIXTURE))]
                files = (items[name].reading.files[0], wanted.through, *wanted.fixture)
                self.sweeps[name] = [
                    read_two_port(record.folder, file, label=label)
                    for file, label in zip(files, labels, strict=False)
                ]

    @property
    def files(self) -> tuple[TwoPortSweep, ...]:
        """All that was read."""
        return tuple(sweep for sweeps in self.sweeps.values() for sweep in sweeps)

    def first_grid(self) -> Real:
        """The frequencies [Hz] of the first sweep of two ports."""
        return self.files[0].frequency

    def part(
        self,
        wanted: ComponentRequest,
        devices: Sequence[Device],
        worth: Analyzer,
        at_plane: Callable[[Reading, str], tuple[Real, Quantity]],
    ) -> Part:
        """What part a corrected device is, or what was read between two ports.

        Sweeps of fixtures are corrected by `at_plane`.
        """
        if wanted.between_ports:
            return self._between_ports(wanted, worth)
        device = next(d for d in devices if d.name == wanted.measurement)
        sweep = Sweep(device.frequency, device.reflection, device.z_ref, device.answer)
        ends = []
        for file, end in zip(wanted.fixture, FIXTURE, strict=False):
            grid, quantity = at_plane(Reading((file,)), f"{device.name}: {end}")
            require_same_grid(wanted.place, grid, device.frequency, end, f"'{device.name}'")
            ends.append(quantity)
        if ends:
            return _without_fixture(wanted, sweep, ends)
        return Part(wanted, choose(sweep, wanted.model), equivalents(device.figures))

    def _between_ports(self, wanted: ComponentRequest, worth: Analyzer) -> Part:
        """By the ratio of what passes to what passes a through."""
        item = next(m for m in self.record.between_ports if m.name == wanted.measurement)
        z_ref = self.record.reference_ohm
        read, through, *ends = self.sweeps[item.name]
        for one in (through, *ends):
            of = f"'{item.name}'"
            require_same_grid(wanted.place, one.frequency, read.frequency, one.label, of)
        ports = Ports(worth)
        if worth.residual is not None:
            ports = replace(ports, match=worth.residual["source_match"] / np.sqrt(2))
        whole, *others = (
            reflection_of(one, through, ports, wanted.method, z_ref) for one in (read, *ends)
        )
        _require_finite(wanted, read.frequency, whole)
        sweep = Sweep(read.frequency, whole, z_ref, answer_of(item, read.frequency))
        if others:
            return _without_fixture(wanted, sweep, others)
        return Part(wanted, choose(sweep, wanted.model), _equivalents(sweep))
