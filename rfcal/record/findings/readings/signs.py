"""The sign of X: how it was told, what would tell it, and whether it was left out."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rfcal.findings import Finding, quoted, span_mhz
from rfcal.library.device import Device
from rfcal.matching.network import part_value
from rfcal.maths.reflection import Real
from rfcal.measurement.propagate import impedance, propagate
from rfcal.measurement.undecided import SURE_RISE, by_rise, follows
from rfcal.readings.display import as_shown
from rfcal.readings.sweep import Sweep
from rfcal.record.findings import case
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.findings.readings.mistyped import display_text
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Measurement, Record
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.words import mhz

FURTHER = (1.03, 1.05, 1.07, 1.1, 1.13, 1.16, 1.2, 1.25, 1.3)
"""By how much a second frequency is higher or lower that may tell the sign of X."""
MARGIN = 1.5
"""So many times as doubtful as the first reading it may be."""
READ = 0.01
"""No frequency so near to one that was read is another, in parts of it."""
PART = 0.3
"""Reactance of the part in series that may tell it, in parts of X: no less."""
STEPS = 8.0
"""Steps of a display by which what it shows through that part must differ between both answers, or
halves of the deviation of X."""
LARGER = 1.5
"""Factor from one such reactance to the next; what did not tell is at least doubled."""
WELL = 1.5
"""X over R from which loss counts as small where a sign is asked about [1]."""
MOST = 8
"""Points of a sweep at most at which it is asked whether X falls, and typed rows row by row."""


def about_signs(device: Device, ways: Mapping[tuple[str, str], NDArray[np.bool_]]) -> list[Finding]:
    """How the sign of X was told that a display does not show, and by which other reading."""
    found, f = [], device.frequency
    for (way, other), points in ways.items():
        at = np.flatnonzero(points)
        if at.size:
            ends = [f"{device.at(hz).reactance} at {mhz(hz)}" for hz in np.unique(f[at[[0, -1]]])]
            of = {"where": span_mhz(f, points), "other": other, "ends": " and ".join(ends)}
            found.append(say.SIGN_TOLD(device=device.name, how=way.format(**of)))
    return found


def own_doubt(z: Quantity) -> Real:
    """Standard deviation of X [ohm] by what is new at every frequency."""
    return np.sqrt(z.own.covariance()[:, 1, 1])


def further(device: Device, at: int) -> str:
    """The frequency near one of two answers whose reading will tell them apart; empty without one.

    With it X of one answer would rise and that of the other fall, whichever is true.
    """
    if device.other is None:
        return ""
    pair, f = (device.impedance, device.other.impedance), device.frequency
    # R by a deviation more: what is lossier is told less
    z = np.array([q.value + np.sqrt(q.covariance()[:, 0, 0]) for q in pair])
    doubt = np.array([own_doubt(q) for q in pair])
    for more in FURTHER:
        for new in (f[at] * more, f[at] / more):
            if np.min(np.abs(f / new - 1)) > READ and all(
                _tells(np.append(f, new), z, doubt, at, true) for true in (0, 1)
            ):
                return say.TELL_FURTHER.format(mhz=new / 1e6)
    return ""


def _tells(frequency: Real, z: np.ndarray, doubt: Real, at: int, true: int) -> bool:
    """Whether the last of these frequencies tells which answer there and at another is `true`.

    What is true goes as a coil or a capacitor does, and what mirrors it on the display as well.
    """
    times = (frequency[-1] / frequency[at]) ** np.sign(z[true, at].imag)
    order = np.argsort(frequency)
    x, r, unsure = (
        np.column_stack([part, more * part[:, at]])[:, order]
        for part, more in ((z.imag, times), (z.real, 1.0), (doubt, MARGIN))
    )
    both = np.isin(order, (at, frequency.size - 1))
    left = by_rise(frequency[order], x, r, unsure)[:, both]
    return bool(np.all(left[true]) and not np.any(left[1 - true]))


def telling_part(
    item: Measurement,
    others: Sequence[Measurement],
    z_ref: float,
    z: complex,
    hz: float,
    doubt: float = 0.0,
) -> str:
    """The part in series by which a report would tell the sign of X, where these others did not.

    X is doubtful by so much [ohm], whatever its sign.
    """
    if item.same_as:
        return say.TELL_SAME.format(device=item.same_as)
    tried = say.TELL_TRIED.format(names=quoted([one.name for one in others])) if others else ""
    parts = (path.part for one in others for path in one.between if path.part)
    known = [2 * abs(complex(part.impedance(np.array(hz)))) for part in parts]
    ohm = max(PART * abs(z.imag), 5.0, *known) * LARGER ** np.arange(9)
    # what both answers would show through each, in steps of the display
    both = as_shown(np.array([z, z.conjugate()])[:, None] - 1j * ohm, z_ref)
    sizes = ["X"] if item.reading.typed else ["|Z|", "SWR"]
    least = np.array(item.reading.steps)[: len(sizes), None]
    least = np.maximum(least, doubt / 2 if item.reading.typed else 0.0)
    steps = np.max(np.ptp(np.abs([both[size] for size in sizes]), axis=1) / least, axis=0)
    farad = 1 / (2 * np.pi * hz * ohm[np.argmax(np.minimum(steps, STEPS))])
    words = part_value(float(f"{farad:.1g}"), "F")
    too = say.TELL_TOO.format(device=item.name) if item.between else ""
    return tried + say.TELL_SERIES.format(farad=words, device=item.name, too=too)


def left_out(
    record: Record,
    item: Measurement,
    device: Device,
    sweeps: Mapping[str, Sweep],
    told: Collection[Finding],
) -> Iterator[Finding]:
    """Whether a device's X, of what may have no sign, lost a minus in one row or in all.

    It is asked about where as read X falls, which little loss forbids, and with it does not; of
    files where it may be so, too, and where not even an open has a minus. So it is with angles.
    Only where X is above R this is told, or matters.
    """
    read, raw = item.reading, device.raw.reflection
    shown = [one for one in record.items() if not one.reading.shows_less]
    may = read.typed_reflection is not None or case.has_ohms(read, device.raw)
    if item not in shown or not may or item.name in {finding.about for finding in told}:
        return
    possible, rows = _course(device), np.arange(raw.size)
    never, every, falls = np.all(raw.imag >= 0), possible(rows >= 0), not possible(rows < 0)
    asked = rows[raw.imag > 0] if falls and not read.files and raw.size <= MOST else ()
    single = [at for at in asked if possible(rows == at)]
    if len(single) == 1 and not (never and every):
        yield _mistyped(read, item.name, single[0])
    elif never:
        minus = any(np.any(sweeps[one.name].reflection.imag < 0) for one in shown)
        in_full = record.standards and not any(one.reading.beyond for one in record.standards)
        # X above R, which are as 2 Im x and 1 - |x|^2
        above = np.any(2 * raw.imag > 1 - np.abs(raw) ** 2)
        unknown = (in_full and not minus) or (read.files and raw.size > 1 and every)
        if (falls and every) or (above and unknown):
            of = say.ANGLE_TYPED if read.typed_reflection is not None else say.X_TYPED
            of = of | {"hint": ""} if read.files else of
            where = span_mhz(device.frequency, device.frequency > 0)
            yield say.NEVER_NEGATIVE(label=device.name, where=where, **of)


def _mistyped(read: Reading, name: str, at: int) -> Finding:
    """That a minus was left out in this row."""
    megahertz, _, cell = (float(cell) for cell in (read.typed or read.typed_reflection or ())[at])
    part, unit = ("X", "ohm") if read.typed else ("the angle", "degrees")
    written = f"{display_text(cell, read.steps[1])} {unit}"
    return say.MISTYPED(label=name, mhz=megahertz, part=part, written=written, meant=-cell)


def _course(device: Device) -> Callable[[NDArray[np.bool_]], bool]:
    """Whether X may go so with frequency if it lost its minus at these points, shape (F,)."""
    points = device.frequency.size
    at = np.unique(np.linspace(0, points - 1, min(points, MOST)).round().astype(int))
    inputs = device.inputs.at(at)
    read = inputs.reading
    effects = tuple(replace(e, change=np.conj(e.change)) for e in read.effects)
    both = [
        impedance(propagate(replace(inputs, reading=each)), device.z_ref)
        for each in (read, Quantity(np.conj(read.value), effects))
    ]
    x = np.array([z.value.imag for z in both])
    r = np.array([z.value.real + K_AXIS * np.sqrt(z.covariance()[:, 0, 0]) for z in both])
    own = np.array([own_doubt(z) for z in both]) ** 2
    common = np.array([z.common_changes().imag for z in both])

    def steps(index: NDArray[np.intp]) -> NDArray[np.bool_]:
        first, last = index[:-1], index[1:]
        change = common[None, :, :, last] - common[:, None, :, first]
        unsure = np.sqrt(own[:, None, first] + own[None, :, last] + np.sum(change**2, axis=2))
        f = device.frequency[at[index]]
        return follows(f, x[:, index], r[:, index], SURE_RISE * unsure, WELL)

    each, over = steps(np.arange(at.size)), steps(np.array([0, at.size - 1]))[..., 0]
    # a fall little by little shows from end to end, where nothing resonates in between
    still = np.all((np.abs(x) > WELL * r) & (x * x[:, :1] > 0), axis=1)

    def possible(lost: NDArray[np.bool_]) -> bool:
        sign = lost[at].astype(int)
        gone = sign[0] == sign[-1] and still[sign[0]] and not over[sign[0], sign[0]]
        return bool(np.all(each[sign[:-1], sign[1:], np.arange(at.size - 1)])) and not (
            gone and np.all(sign == sign[0])
        )

    return possible
