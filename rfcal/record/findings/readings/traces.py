"""Traces that slips with files and connectors leave in raw readings, whatever the answer is."""

from collections.abc import Collection, Iterable, Iterator, Mapping

import numpy as np

from rfcal.findings import Finding, grouped, quoted, span_mhz
from rfcal.maths.outliers import smooth, step_at, sticking_out
from rfcal.maths.reflection import Complex, to_impedance
from rfcal.models.interpolation import SAME
from rfcal.readings.content import decoded
from rfcal.readings.display import MOST_RAW
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.readings.touchstone import read_touchstone
from rfcal.record.findings import case
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.findings.readings.mistyped import mistyped
from rfcal.record.format.schema import Record
from rfcal.uncertainty.words import complex_ohm

RADIANS = 3.15
"""Angles in radians are smaller, whatever they are of."""
DECIBEL = 10 ** (1 / 20)
"""What a magnitude of 1 becomes if it is taken for decibels."""
FEWEST, STILL = 21, 15.0
"""Points from which scatter is judged, and so many times as much of sizes as of angles is not that
of noise: of 17 fourth differences once in a million sweeps, and so no part of the chance of a false
alarm."""
BOTH_ABOVE = 0.4
"""Imaginary part [1] that raw readings of short and open do not both have: their middle is about
directivity and source match together (common practice, no source)."""
MIRRORED = 3.0
"""So many times less a curve bends at its turn if the sign that it lost is put back."""
BEND = 20.0
"""In deviations of the noise: seven points of noise alone bend beyond it once in a million times,
and so take no part of the chance of a false alarm."""
PASSES = 0.01
"""What passes between ports [1] above which something joins them: analyzers leak less (common
practice, no source)."""


def about_traces(record: Record, sweeps: dict[str, Sweep]) -> list[Finding]:
    """What the raw readings of standards, checks, devices and rereads say by themselves."""
    solved = bool(record.standards)
    found = [*about_unit(sweeps.values()), *references_differ(sweeps.values())]
    found += same_reading(record, sweeps)
    shown = {i.name: sweeps[i.name] for i in record.items() if not i.reading.shows_less}
    if solved:
        found += about_formats(record, shown)
    told = {finding.about for finding in found}
    found += mistyped(record)
    noise = record.analyzer["noise"]
    for sweep in shown.values():
        if sweep.label not in told:
            found += about_shape(sweep, noise)
    # what an instrument that corrects itself reads is judged as an answer
    return [*found, *(about_sizes(shown) if solved else ())]


def about_unit(sweeps: Collection[Sweep]) -> Iterator[Finding]:
    """Frequencies at which nobody reads an antenna: a unit, mostly."""
    low = min((sweep.frequency[0] for sweep in sweeps), default=case.USUAL_HZ[0])
    high = max((sweep.frequency[-1] for sweep in sweeps), default=case.USUAL_HZ[1])
    if low < case.USUAL_HZ[0] or high > case.USUAL_HZ[1]:
        yield say.UNIT(low=low / 1e6, high=high / 1e6)


def references_differ(sweeps: Collection[Sweep]) -> Iterator[Finding]:
    """Files of one analyzer that state different reference impedances."""
    files = [part for sweep in sweeps for part in sweep.parts or (sweep,)]
    silent = [part.label for part in files if part.assumed_reference]
    stated = {p.label: p.z_ref for p in files if p.assumed_reference or case.states_reference(p)}
    by = grouped((ohm, label) for label, ohm in stated.items())
    if len(by) < 2:
        return
    usual, *_, odd = sorted(by, key=lambda ohm: -len(by[ohm]))
    yield say.REFERENCES_DIFFER(
        label=by[odd][0],
        labels=quoted(by[odd]),
        odd_ohm=odd,
        others=quoted(by[usual]),
        usual_ohm=usual,
        bare=say.BARE.format(labels=quoted(silent)) if silent else "",
    )


def same_reading(record: Record, sweeps: dict[str, Sweep]) -> list[Finding]:
    """Devices whose reading is that of a standard, to the last digit."""
    return [
        say.SAME_READING(device=device.name, standard=standard.name)
        for device in record.measurements
        for standard in record.standards
        if sweeps[device.name].digits == sweeps[standard.name].digits
    ]


def about_formats(record: Record, sweeps: dict[str, Sweep]) -> Iterator[Finding]:
    """Magnitudes and angles that no raw short, open and load have: of another format."""
    artefacts = (*record.standards, *record.checks)
    kinds = {a.name: a.model.kind if a.model else "" for a in artefacts if a.name in sweeps}
    raw = {label: sweep.reflection for label, sweep in sweeps.items()}
    reads = [item for item in record.items() if item.name in sweeps]
    polar = {r.name: raw[r.name] for r in reads if case.has_angles(r.reading, sweeps[r.name])}
    above = [k for k, x in polar.items() if np.all((np.abs(x) >= 1) & (np.abs(x) < DECIBEL))]
    if "load" in (kinds.get(k) for k in above) or (above and set(kinds) <= set(above)):
        high = max(float(np.abs(raw[k]).max()) for k in above)
        of = {"label": above[0], "labels": quoted(above)}
        yield say.ALL_ABOVE_ONE(**of, high=high, high_db=20 * np.log10(high))
    yield from signs_lost(kinds, raw)
    yield from _in_radians(kinds, polar)


def _in_radians(kinds: Mapping[str, str], polar: Mapping[str, Complex]) -> Iterator[Finding]:
    """Whether angles in radians were taken for degrees, by readings that were given by angles."""
    small = [k for k, x in polar.items() if np.all(np.abs(np.degrees(np.angle(x))) < RADIANS)]
    # at one frequency a lead may turn any one of them to there
    sure = len(small) == len(polar) or any(polar[k].size > 1 for k in small)
    labels, why = small, say.RADIANS_SHORT
    if not (sure and any(kinds.get(k) == "short" for k in small)):
        labels, why = [k for k in small if _still(polar[k])], say.RADIANS_STILL
    if labels:
        yield say.RADIANS(label=labels[0], labels=quoted(labels), why=why)


def _still(x: Complex) -> bool:
    """Whether angles scatter far less than sizes, as they do if each is 57 times too small."""
    if x.size < FEWEST or not np.all(x):
        return False
    scatter = np.diff(np.log(x), 4)
    sizes, angles = (float(np.median(np.abs(part))) for part in (scatter.real, scatter.imag))
    return angles < sizes / STILL


def signs_lost(kinds: Mapping[str, str], raw: Mapping[str, Complex]) -> list[Finding]:
    """Whether no X is below zero, where short and open are too far apart for both to be above."""
    if any(np.any(x.imag < 0) for x in raw.values()):
        return []
    shorts, opens = ([k for k, kind in kinds.items() if kind == of] for of in ("short", "open"))
    return [
        say.SIGNS_LOST(short=short, opened=opened)
        for short, opened in zip(shorts[:1], opens[:1], strict=False)
        if raw[short].size == raw[opened].size
        and np.max(np.minimum(raw[short].imag, raw[opened].imag)) > BOTH_ABOVE
    ]


def about_shape(sweep: Sweep, noise: float) -> list[Finding]:
    """What the course of a sweep says: mirrored at the axis, cut in two, or with points astray."""
    for part in sweep.parts or (sweep,):
        x, f = part.reflection, part.frequency
        if (at := _mirrored(x, noise)) is not None:
            return [say.SIGN_LOST(label=part.label, where=span_mhz(f, np.arange(f.size) == at))]
        if astray := sticking_out(x, noise):
            where = np.isin(np.arange(f.size), astray)
            size = np.max(np.abs(x - smooth(x, astray)))
            return [say.INTERFERENCE(label=part.label, where=span_mhz(f, where), size=size)]
        if (at := step_at(x, noise)) is not None:
            size = np.abs(x[at] - x[at - 1])
            return [say.JUMP(label=part.label, mhz=f[at] / 1e6, size=size)]
    return []


def _mirrored(x: np.ndarray, noise: float) -> int | None:
    """The point at which a curve that stays above the real axis bends back from it."""
    if x.size < 7 or np.any(x.imag < 0):  # X has the sign of the reflection's imaginary part
        return None
    inside = np.arange(3, x.size - 3)
    turns = inside[(x.imag[inside] <= x.imag[inside - 1]) & (x.imag[inside] <= x.imag[inside + 1])]
    for at in turns:
        near = x[at - 3 : at + 4]
        signs = [np.where(np.arange(7) < k, 1, -1) for k in (7, 3, 4)]
        bend, *back = (
            float(np.linalg.norm(np.diff(near.real + 1j * s * near.imag, 2))) for s in signs
        )
        if bend > max(BEND * noise, MIRRORED * min(back)):
            return int(at)
    return None


def about_sizes(sweeps: Mapping[str, Sweep]) -> Iterator[Finding]:
    """Raw readings far beyond the chart's edge, all in one sentence."""
    far = {k: s for k, s in sweeps.items() if np.max(np.abs(s.reflection)) > MOST_RAW}
    if far:
        frequency = np.concatenate([s.frequency for s in far.values()])
        size = np.abs(np.concatenate([s.reflection for s in far.values()]))
        grid = np.unique(frequency)
        where = span_mhz(grid, np.isin(grid, frequency[size > MOST_RAW]))
        of = {"labels": ", ".join(far), "names": quoted([*far])}
        yield say.RAW_ABOVE_ONE(**of, size=float(size.max()), where=where)


def about_ports(sweeps: Iterable[Sweep | TwoPortSweep]) -> Iterator[Finding]:
    """Files of two ports of which S11 was read, with what the others would read as it stands."""
    for sweep in sweeps:
        origin = sweep.origin
        if isinstance(sweep, TwoPortSweep) or origin is None or origin.file[-4:].lower() != ".s2p":
            continue
        _, s, z_ref, _ = read_touchstone(decoded(origin.content), origin.file, ports=2)
        middle = s.shape[0] // 2
        s11, _, s21, s22 = (
            complex_ohm(z, np.full(2, abs(z) / 4)) for z in to_impedance(s[middle], z_ref).ravel()
        )
        joined = np.max(np.abs(s[:, 1, 0])) > PASSES and np.any(s[:, 1, 0] != s[:, 0, 0])
        of = {"label": sweep.label, "file": origin.file, "s11": s11, "s21": s21, "s22": s22}
        said = say.PORTS_JOINED if joined else say.TWO_PORTS
        yield said(**of, mhz=sweep.frequency[middle] / 1e6)


def about_answer(device: str, wanted_hz: float, taken_hz: float) -> Iterator[Finding]:
    """An answer asked for between the points of the reading."""
    if abs(wanted_hz - taken_hz) > SAME * taken_hz:
        megahertz = {"wanted_mhz": wanted_hz / 1e6, "taken_mhz": taken_hz / 1e6}
        yield say.ANSWER_NEAREST(device=device, **megahertz)
