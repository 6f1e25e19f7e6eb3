"""Two records or results held against each other, and one part in several of them."""

import json
import math
from collections.abc import Hashable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from rfcal.components.agreement import Agreement, agreement
from rfcal.errors import RecordError
from rfcal.findings import grouped, quoted
from rfcal.maths.reflection import Real
from rfcal.readings.content import whole_file
from rfcal.record.archive import recomputed
from rfcal.record.files import slug
from rfcal.record.findings.components import part_words
from rfcal.record.format.schema import Record
from rfcal.record.job.compute import compute
from rfcal.record.results import Device, Results
from rfcal.report.figures.components import agreement_figure, values_figure
from rfcal.report.figures.render import svg_text
from rfcal.report.figures.style import own_settings
from rfcal.report.text.components import part_kind
from rfcal.report.text.device import SOUND
from rfcal.uncertainty.coverage import expanded
from rfcal.uncertainty.quantity import Effect, Quantity
from rfcal.uncertainty.words import mhz, rounded, value_words

MOST_JSON_BYTES = 400_000_000
"""Of a results.json: 200,001 points of several devices."""


@dataclass(frozen=True, eq=False)
class Answered:
    """What a results.json says of one device, by a device's own names."""

    frequency: Real  # [Hz]
    reflection: Quantity
    answer: int  # index of the frequency that is asked for
    interval: Real  # of R and of X [ohm], shape (F, 2, 2): last axis low and high


AnyDevice = Answered | Device
_Held = tuple[Agreement, int, Real]


@dataclass(frozen=True, eq=False)
class Side:
    """One of the records or results that are compared."""

    title: str
    source: str  # where it is, as it was named
    z_ref: float
    answers: Mapping[str, AnyDevice]  # by name of the measurement
    results: Results | None = None  # None where only results.json is there
    parts: Sequence[tuple[str, str]] = ()  # names and answers of its parts


def side_of(source: Record | str | Path) -> Side:
    """A record, its folder or the page that carries it, computed, or a results.json."""
    path = source.folder if isinstance(source, Record) else Path(source)
    if not path.is_dir() and path.suffix.lower() != ".html":
        return _from_json(path)
    results = compute(source) if isinstance(source, Record) else recomputed(path)
    record, answers = results.record, {device.name: device for device in results.devices}
    parts = [(f"{p.request.measurement}{part_kind(p)}", part_words(p)) for p in results.parts]
    return Side(_title(vars(record)), str(path), record.reference_ohm, answers, results, parts)


def _title(record: Mapping[str, Any]) -> str:
    return f"{record['title']} ({record['date']})" if record["date"] else record["title"]


def _from_json(path: Path) -> Side:
    """What a results.json says, whose influences have no names any more."""
    try:
        told = json.loads(whole_file(path, MOST_JSON_BYTES))
        head, z_ref = told["record"], float(told["record"]["reference_ohm"])
        answers = {m["name"]: _answered(m) for m in told["measurements"]}
        parts = [(p["measurement"], p["answer"]) for p in told.get("components", ())]
        return Side(_title(head), str(path), z_ref, answers, None, parts)
    except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
        why = getattr(error, "strerror", None) or "it is no results.json as rfcal writes it"
        raise RecordError(
            str(path), "", f"cannot be compared ({why}): name a record's folder or a results.json"
        ) from error


def _answered(told: Mapping[str, Any]) -> Answered:
    real, imaginary = np.array(told["reflection"], float).T
    rr, ri, ii = np.array(told["reflection_covariance"], float).T
    root = np.sqrt(np.maximum(rr, 1e-30))
    # Cholesky factors of each point's covariance: two influences that make it
    second = np.sqrt(np.maximum(ii - (ri / root) ** 2, 0))
    effects = tuple(
        Effect("as results.json has it", change, per_point=True, influence=("results.json", i))
        for i, change in enumerate((root + 1j * ri / root, 1j * second))
    )
    frequency = np.array(told["frequency_hz"], float)
    ends = np.array(told["interval_ohm"], float).reshape(-1, 2, 2)
    ends = np.where(np.isnan(ends), [-np.inf, np.inf], ends)  # JSON has no infinity
    answer = int(np.argmin(np.abs(frequency - float(told["answer_hz"]))))
    return Answered(frequency, Quantity(real + 1j * imaginary, effects), answer, ends)


def compared(first: Side, second: Side, shared: Sequence[str]) -> dict[str, _Held]:
    """What both sides measured, by name, with the first one's answer: its point and both intervals.

    Where each has one device only, these are the same whatever they are called.
    """
    if first.z_ref != second.z_ref:
        why = f"it is {second.z_ref:g} ohm here and {first.z_ref:g} ohm in '{first.title}'"
        raise RecordError(second.title, "reference_ohm", f"{why}: state the same in both")
    names = [(name, name) for name in first.answers if name in second.answers]
    if len(first.answers) == len(second.answers) == 1:
        names = [*zip(first.answers, second.answers, strict=True)]
    if not names:
        ours, theirs = (quoted([*side.answers]) or "no measurement" for side in (first, second))
        has = f"it has {theirs}, '{first.title}' has {ours}"
        cure = "give what is to be compared the same name in both"
        raise RecordError(second.title, "", f"{has}: {cure}")
    common = {i for name in shared for i in _influences(first, name) & _influences(second, name)}
    return {
        one: _held(first.answers[one], second.answers[other], first.z_ref, common, one)
        for one, other in names
    }


def _influences(side: Side, name: str) -> set[Hashable]:
    """Influences on what a standard is, as a record states it."""
    if side.results is None:
        why = "a results.json does not say what its uncertainty comes from"
        cure = "so nothing can be shared with it: name the record's folder"
        raise RecordError(side.title, "", f"{why}, {cure}")
    known = {item.name: item for item in side.results.bench.standards}
    if name not in known:
        has = ", ".join(known) or "none"
        why = f"there is no standard '{name}' here that could be shared: it has {has}"
        raise RecordError(side.title, "", why)
    quantity = known[name].quantity(side.results.calibration.frequency, side.z_ref)
    return {effect.influence for effect in quantity.effects}


def _held(
    one: AnyDevice, other: AnyDevice, z_ref: float, shared: Set[Hashable], name: str
) -> _Held:
    hertz = np.round(one.frequency), np.round(other.frequency)
    _, here, there = np.intersect1d(*hertz, return_indices=True)
    if not here.size:
        why = "no frequency is common to both sweeps: nothing between points is compared"
        raise RecordError(name, "", why)
    frequency = one.frequency[here]
    both = one.reflection.at_points(here), other.reflection.at_points(there)
    found = agreement(frequency, *both, z_ref=z_ref, shared=shared)
    at = int(np.argmin(np.abs(frequency - one.frequency[one.answer])))
    return found, at, np.array([one.interval[here[at]], other.interval[there[at]]])


def compare_lines(first: Side, second: Side, shared: Sequence[str] = ()) -> list[str]:
    """Both answers, their difference and En, in lines; the verdict first."""
    each = compared(first, second, shared).items()
    said = [line for name, held in each for line in _agreement_lines(name, *held)]
    titles = "first: {}; second: {}".format(*_titles((first, second)))
    with_both = ", ".join(shared) or "nothing: every influence was taken as each one's own"
    return [*said, titles, f"shared by both: {with_both}"]


def _titles(sides: Sequence[Side]) -> list[str]:
    """What each is called, and where it is if another is called the same."""
    titles = [side.title for side in sides]
    where = (f", {side.source}" * (titles.count(side.title) > 1) for side in sides)
    return [f"{title}{place}" for title, place in zip(titles, where, strict=True)]


def _agreement_lines(name: str, found: Agreement, at: int, ends: Real) -> Iterator[str]:
    en, points = np.abs(found.normalised_error), found.frequency.size
    within = np.mean(en <= 1, axis=0)
    worst = int(np.argmax(en.max(axis=1)))
    agree = "agree" if within.min() >= SOUND else "agree only just"
    verdict = agree if found.agree else "DO NOT AGREE"
    inside = f"{within[0]:.0%} of {points} common points for R and {within[1]:.0%} for X"
    most = f"En up to {en.max():.2f}, at {mhz(found.frequency[worst])}"
    yield f"{name}: both {verdict}: within their uncertainties at {inside} ({most})"
    half = expanded(found.difference)[at]
    size = abs(found.first.value[at])
    for axis, (letter, part, least) in enumerate((("R", np.real, 0.0), ("X", np.imag, -math.inf))):
        told = " and ".join(
            value_words(float(part(side.value[at])), *ends[i, axis], least=least)
            for i, side in enumerate((found.first, found.second))
        )
        off = float(part(found.difference.value[at]))
        yield (
            f"  {letter} at {mhz(found.frequency[at])}: {told} ohm, {rounded(off, half[axis])} ohm "
            f"apart, {rounded(100 * abs(off) / size, 100 * half[axis] / size)} % of |Z|, En "
            f"{found.normalised_error[at, axis]:.2f}"
        )


def table_lines(sides: Sequence[Side]) -> list[str]:
    """The parts of several records, one part after the other, in lines."""
    rows: dict[str, list[str]] = {}
    for title, side in zip(_titles(sides), sides, strict=True):
        for name, answer in side.parts:
            head, _, more = name.partition(", ")
            rows.setdefault(head, []).append(f"  {title}{f', {more}' if more else ''}: {answer}")
    if not rows:
        why = "none of these records has a [[component]] whose values to compare"
        raise RecordError(sides[0].title, "", why)
    return [line for name, own in rows.items() for line in (name, *own)]


@own_settings()
def agreement_pictures(first: Side, second: Side, shared: Sequence[str]) -> dict[str, bytes]:
    """En over frequency of each device, by file name."""
    return {
        f"en-{slug(name)}.svg": _svg(agreement_figure(name, found), name)
        for name, (found, *_) in compared(first, second, shared).items()
    }


@own_settings()
def table_pictures(sides: Sequence[Side]) -> dict[str, bytes]:
    """The leading value of each part over the records, by file name; of records' folders only."""
    parts = [(s.title, part) for s in sides if s.results for part in s.results.parts]
    named = ((pair[1].request.measurement, pair) for pair in parts if pair[1].verdict.figures)
    found = grouped(named)
    return {f"values-{slug(name)}.svg": _svg(values_figure(of), name) for name, of in found.items()}


def _svg(figure: Figure, name: str) -> bytes:
    return svg_text(figure, alt=f"Comparison of {name}.", prefix="compare").encode()
