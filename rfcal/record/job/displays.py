"""Devices, checks and standards of which a display shows less: what the readings still tell."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.findings import Finding
from rfcal.library.device import Device
from rfcal.maths.reflection import Real
from rfcal.measurement.bench import Bench, Known, Moved
from rfcal.measurement.deembedding import Step, path_map
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.undecided import Possible, Undecided, by_rise, possible, remaining, undecided
from rfcal.models.interpolation import same_grid
from rfcal.readings.display import DISPLAY_ROUNDING, Options, size_range
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.findings.passivity import beyond_passive
from rfcal.record.findings.readings.signs import about_signs, own_doubt
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Artefact, Record
from rfcal.record.job.readings import refused_at, require_same_grid
from rfcal.uncertainty.derived import Figure, Figures, ends_of
from rfcal.uncertainty.quantity import Quantity, combine
from rfcal.uncertainty.significance import far_off

UNDISPLAYED = "what the display does not show"
"""The name of that uncertainty in the budget."""


def settle(
    record: Record,
    bench: Bench,
    options: Mapping[str, Options],
    known: Mapping[str, Known],
    grid: Real,
    before: Callable[[Calibration, Artefact], tuple[Step, ...]],
) -> tuple[Undecided, dict[str, Sweep]]:
    """The standards as far as what they are and the checks tell, and the likeliest readings.

    The steps of the path `before` a check are those at the frequencies of a calibration.
    """
    z_ref = bench.z_ref

    def read(item: Artefact, best: Bench) -> tuple[Calibration, Sweep, tuple[Step, ...]]:
        """The error terms for a check, the option nearest to what it is, and what lies before."""
        own = options[item.name]
        with refused_at(item.place):
            here = best.at(best.calibration(grid), own.frequency)
        path, box = before(here, item), here.error_box
        seen = (box @ path_map(box, path)).apply(known[item.name].quantity(grid, z_ref).value)
        return here, own.nearest(seen, z_ref), path

    if any(item.reading.shows_less for item in record.standards):
        _require_same_points(record, options, grid)
    found = undecided(bench, [options[item.name] for item in record.standards], grid)
    checks = record.checks if found.options else ()
    for check in sorted(checks, key=lambda one: one.at is not None):
        measured = (best := found.likeliest()).corrected(*read(check, best))
        expected = known[check.name].quantity(grid, z_ref)
        found = found.checked(options[check.name], expected, *measured)
    found = found.thinned()
    best = found.likeliest()
    told = {
        item.name: options[item.name].nearest(item.reading.quantity(z_ref).value, z_ref)
        for item in best.standards
    }
    told |= {item.name: read(item, best)[1] for item in record.checks if item.reading.shows_less}
    for again in record.rereads:
        first = told.get(again.of, options[again.of].sweeps[0])
        if same_grid(options[again.name].frequency, first.frequency):
            told[again.name] = options[again.name].nearest(first.quantity(z_ref).value, z_ref)
    return found, told


def least_moved(moved: Moved, first: Reading, again: Reading, z_ref: float) -> Moved:
    """The same by what both readings show of |Z| or SWR: no two that show so lie nearer."""
    sizes = ((first.typed_z, again.typed_z), (first.typed_swr, again.typed_swr))
    gaps = []
    for k, (rows, later) in enumerate(sizes):
        if rows and later:
            of, size = [row[0] for row in rows], (z_ref, 1.0)[k]
            same = [rows[int(np.argmin(np.abs(np.array(of) - row[0])))] for row in later]
            low, high = size_range(same, size, first.steps[k])
            low_later, high_later = size_range(later, size, again.steps[k])
            gaps.append(np.maximum(low_later - high, 0) - np.maximum(low - high_later, 0))
    if not gaps:
        return moved
    most = np.take_along_axis(np.array(gaps), np.argmax(np.abs(gaps), axis=0)[None], axis=0)[0]
    effects = (e for e in moved.change.effects if not e.source.endswith(DISPLAY_ROUNDING))
    return replace(moved, change=Quantity(most + 0j, tuple(effects)), at_least=True)


def _require_same_points(record: Record, options: Mapping[str, Options], grid: Real) -> None:
    """Refuse what was read elsewhere than standards whose display shows less."""
    for item in record.items():
        if not same_grid(options[item.name].frequency, grid):
            why = "what a display shows less of them cannot be worked out in between"
            first = f"it was not read at the standards' frequencies, and {why}"
            raise item.refused(f"{first}: read everything at the same frequencies")


@dataclass(frozen=True, eq=False)
class Left:
    """What readings leave of a device, and what corrects one of them with a bench."""

    first: Device  # by the likeliest bench, of the first option
    possible: Possible
    here: Calibration  # of the likeliest bench
    make: Callable[[Bench, Sweep], Device]

    def beside(self, other: "Left") -> tuple["Left", Real]:
        """The same where another reading is of the same device; how far both are off at best."""
        mine, its = self.first.reflection, other.first.reflection
        apart = combine(0 * mine.value, (mine, 1.0), (its, -1.0))
        left, off = self.possible.beside(other.possible, apart.variance())
        return replace(self, possible=left), off


def left_open(
    bench: Undecided, here: Calibration, options: Options, make: Callable[[Bench, Sweep], Device]
) -> Left:
    """What a device's reading leaves; `make` corrects one with a bench."""
    first = make(bench.likeliest(), options.sweeps[0])
    doubt = np.sqrt(first.reflection.variance())
    return Left(first, possible(bench, here, options, doubt, first.inputs.path), here, make)


def answers_by_sign(
    left: Left, told: Mapping[tuple[str, str], NDArray[np.bool_]]
) -> tuple[Device, list[Finding], Left]:
    """What a device is, where the readings do not tell its sign with its `other`; how it was told.

    Where two remain the first has the X that the display shows as positive; where others `told` its
    sign is given. What is left then has only signs that its course over frequency allows.
    """
    first, all_of_it = left.first, left.possible

    def answer(sign: int | NDArray[np.intp]) -> Device:
        return _whole(all_of_it.of_sign(sign), left.here, left.make)

    if 1 not in all_of_it.options.signs:
        return answer(0), [], left
    pair = [answer(sign) for sign in (1, -1)]
    there = all_of_it.signs
    z = np.array([d.impedance.value for d in pair])
    doubt = np.array([own_doubt(d.impedance) for d in pair])
    risen = allowed = remaining(there, by_rise(first.frequency, z.imag, z.real, doubt))
    two = risen.all(0) & _apart(*pair)
    if np.all(two):  # what is displayed as X is nowhere zero, and so has one sign all over
        passive = [not beyond_passive(first.frequency, one.reflection) for one in pair]
        allowed = remaining(risen, np.array(passive)[:, None])
    both = allowed.all(0)
    two &= both
    sign = np.where(both & ~two, 0, np.where(allowed[0], 1, -1))
    device = pair[0] if np.all(sign == 1) else pair[1] if np.all(sign == -1) else answer(sign)
    if np.any(two):
        other = pair[1] if np.all(two) else answer(np.where(two, -1, sign))
        device = having(device.figures, device, other=other)
    ways = {
        (say.BY_RISING, ""): there.all(0) & ~risen.all(0),
        (say.BY_COURSE, ""): risen.all(0) & ~both,
        (say.BY_POWER, ""): ~np.any([there.all(0), *told.values()], axis=0),
    }
    found = about_signs(device, {**ways, **told})
    return device, found, replace(left, possible=all_of_it.of_sign(np.where(both, 0, sign)))


def having(figures: Mapping[str, Figure], device: Device, **values: Any) -> Device:
    """The same device with other values, and figures that are not computed anew."""
    found = replace(device, **values)
    vars(found)["figures"] = figures
    return found


def agreed(
    record: Record, left: dict[str, Left], chance: float
) -> tuple[tuple[Device, ...], list[Finding]]:
    """Each device, told by other readings of the same one where a record has them.

    The chance [1] is that of two being said to differ without cause.
    """
    devices, found = [], []
    for item in record.measurements:
        name, told = item.name, dict[tuple[str, str], NDArray[np.bool_]]()
        twins = [one.name for one in record.measurements if one.same_as == name]
        for other in filter(None, [item.same_as, *twins]):
            grids = left[name].first.frequency, left[other].first.frequency
            require_same_grid(item.place, *grids, f"'{name}'", f"'{other}'")
            beside, off = left[name].beside(left[other])
            if not far_off(off / 2, chance):  # the difference may lie along one line
                may_be, left[name] = left[name].possible.signs, beside
                told[say.BY_OTHER, other] = np.all(may_be, 0) & ~np.all(beside.possible.signs, 0)
            elif item.same_as == other:
                found.append(say.SAME_DISAGREES(device=name, other=other))
        device, how, left[name] = answers_by_sign(left[name], told)
        devices.append(device)
        found += how
    return tuple(devices), found


def _apart(one: Device, other: Device) -> NDArray[np.bool_]:
    """Where two answers of R or of X leave more room between them than half of both intervals."""
    a, b = one.interval, other.interval
    with np.errstate(invalid="ignore"):
        gap = np.maximum(a[..., 0] - b[..., 1], b[..., 0] - a[..., 1])
        room = (np.ptp(a, axis=-1) + np.ptp(b, axis=-1)) / 2
    return np.any((gap > 0) & (gap > room), axis=-1)


def _whole(found: Possible, here: Calibration, make: Callable[[Bench, Sweep], Device]) -> Device:
    """One answer that holds all of what is possible, each interval from end to end."""
    outermost = found.outermost()
    ends = [make(bench, sweep) for bench, sweep in outermost]
    nearest = outermost[0][1]

    def joined(own: NDArray[np.bool_]) -> tuple[Device, Figures]:
        merged = found.merged(here, nearest, UNDISPLAYED, own)
        device = make(found.bench.likeliest(), merged)

        def one(key: str) -> Figure:
            return _joined(device.figures[key], [end.figures[key] for end in ends])

        return device, Figures(device.figures, one)

    device, figures = joined(np.zeros(nearest.frequency.size, bool))
    z, held = device.impedance.value, ends_of(figures)
    middle = np.stack([z.real, z.imag], axis=-1)
    # the middle of a circle is none of its points
    outside = np.any((middle < held[..., 0]) | (middle > held[..., 1]), axis=-1)
    if np.any(outside):
        device, figures = joined(outside)
    return having(figures, device)


def _joined(middle: Figure, parts: list[Figure]) -> Figure:
    """A figure over all parts; its value is one that the parts have."""
    low = np.min([part.low for part in parts], axis=0)
    high = np.max([part.high for part in parts], axis=0)
    low = np.where(high > middle.least, np.maximum(low, middle.least), low)
    values = [part.value for part in parts]
    value = np.clip(middle.value, np.min(values, axis=0), np.max(values, axis=0))
    return replace(middle, value=value, low=low, high=high)
