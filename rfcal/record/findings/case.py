"""All that standards and checks are judged by, as it was read and as it would be by a slip."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np

from rfcal import defaults
from rfcal.findings import Finding
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.deembedding import Step, path_map
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import propagate, region
from rfcal.readings.sweep import Origin, Sweep
from rfcal.record.findings.catalogue import slips as say
from rfcal.record.findings.passivity import as_expected
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Record
from rfcal.record.results import Check
from rfcal.uncertainty.quantity import Quantity, at_points
from rfcal.uncertainty.significance import unlikely

USUAL_HZ = 10e3, 6e9
"""Frequencies that analyzers of one port read (common practice, no source)."""
KHZ_HZ = 1.8e9
"""From here on frequencies written in MHz would be short wave if they were kHz, where more displays
are read by hand (common practice, no source)."""
AS_IT_IS = 0.03
"""A raw reading [1] so near what an artefact is may have been corrected already: 40 dB of residual
directivity, source match and tracking leave no more (common practice, no source)."""
Meanings = Mapping[say.SlipKind, Callable[[Complex], Complex]]
"""What may be said of the numbers of one reading, and what they were meant to be."""


@dataclass(frozen=True, eq=False)
class Case:
    """What was read and corrected, and what is known of it besides."""

    calibration: Calibration
    checks: Sequence[Check] = ()
    z_ref: float = defaults.REFERENCE_OHM  # of the calibration [ohm]
    solved: bool = True  # else by an instrument that corrects itself, with no standards to mix up
    chance: float = defaults.FALSE_ALARM  # of a false alarm of each test [1]
    stayed: Collection[str] = ()  # what was read again, where nothing of that has moved
    meant: Mapping[str, Meanings] = field(default_factory=dict)  # what readings may mean else
    read: Mapping[str, Sweep] = field(default_factory=dict)  # all that was read
    devices: Collection[str] = ()  # of that, those whose displays show all
    mirrored: Collection[str] = ()  # those whose displays show less
    why: str = ""  # what would explain that all this contradicts itself, where one thing does
    told: Sequence[Finding] = ()  # all that was found before devices are judged
    mends: Sequence[str] = ()  # what would leave error terms that an analyzer may have


def _in_degrees(x: Complex) -> Complex:
    """What was written in radians and read as degrees."""
    return np.asarray(np.abs(x) * np.exp(1j * np.degrees(np.angle(x))))


def _linear(x: Complex) -> Complex:
    """What was written as a magnitude and read as decibels."""
    return np.asarray(20 * np.log10(np.abs(x)) * np.exp(1j * np.angle(x)))


def in_order(x: Complex) -> Complex:
    """What was written as X and R and read as R and X."""
    return from_impedance(1j * np.conj(to_impedance(x, 1.0)), 1.0)


def meanings(record: Record, sweeps: Mapping[str, Sweep]) -> dict[str, Meanings]:
    """What each reading of a record may have meant, by its name."""
    always: Meanings = {say.CONJUGATED: np.conj, say.BACKWARDS: np.flip}
    polar: Meanings = {say.RADIANS: _in_degrees, say.LINEAR: _linear}
    in_ohm: Meanings = {say.ORDER: in_order}
    return {
        item.name: {
            **always,
            **(polar if has_angles(item.reading, sweeps[item.name]) else {}),
            **(in_ohm if has_ohms(item.reading, sweeps[item.name]) else {}),
        }
        for item in record.items()
    }


def _origins(sweep: Sweep) -> list[Origin | None]:
    """The files that it came from; None for what was typed."""
    return [part.origin for part in sweep.parts or (sweep,)]


def _by_columns(origin: Origin | None, unit: bytes = b"") -> bool:
    """Whether it was typed, or is a file of CSV that speaks of a unit."""
    return origin is None or (
        origin.file.lower().endswith(".csv") and unit in origin.content.lower()
    )


def in_mhz(sweep: Sweep) -> bool:
    """Whether its frequencies are MHz that somebody typed, or of a column of CSV."""
    return all(_by_columns(origin, b"mhz") for origin in _origins(sweep))


def has_ohms(reading: Reading, sweep: Sweep) -> bool:
    """Whether R and X were written or typed, by their own columns."""
    of_csv = all(map(_by_columns, _origins(sweep)))
    return of_csv and not (sweep.assumed_reference or reading.shows_less)


def has_angles(reading: Reading, sweep: Sweep) -> bool:
    """Whether angles were written or typed, which may have been in radians."""
    origins = _origins(sweep)
    if not reading.files or None in origins:
        return reading.typed_reflection is not None
    if columns := reading.layout.columns:
        return "degrees" in columns
    content = b"\n".join(origin.content for origin in origins if origin).upper()
    options = [line.split() for line in content.splitlines() if line.startswith(b"#")]
    return b"DEGREES" in content or any(b"RI" not in words for words in options)


def states_reference(sweep: Sweep) -> bool:
    """Whether it is of files that state their reference impedance."""
    return not (any(map(_by_columns, _origins(sweep))) or sweep.assumed_reference)


def contradict(calibration: Calibration, chance: float = defaults.FALSE_ALARM) -> np.ndarray:
    """The points where the standards contradict each other; none where chance explains them."""
    return unlikely(calibration.disagrees, chance)


@dataclass(frozen=True, eq=False)
class Scene:
    """The standards, and a check that was corrected with them; the standards alone without one."""

    solved: Calibration  # from the standards as they were read
    known: Mapping[str, Quantity]  # what each of all these is [1]
    seen: Mapping[str, Quantity]  # and what was read of it
    check: Check | None = None
    path: tuple[Step, ...] = ()  # before the check

    @classmethod
    def of(cls, solved: Calibration, check: Check | None = None) -> "Scene":
        """As all of it was read."""
        known, seen = (
            dict(zip(solved.names, values, strict=True)) for values in (solved.known, solved.seen)
        )
        if check is None:
            return cls(solved, known, seen)
        name = check.name
        known |= {name: check.expected}
        return cls(solved, known, seen | {name: check.inputs.reading}, check, check.inputs.path)

    def repeated(self, times: int) -> "Scene":
        """With all its points so many times, one after another."""
        index = np.tile(np.arange(self.solved.frequency.size), times)
        known, seen = (
            {n: at_points(q, index) for n, q in of.items()} for of in (self.known, self.seen)
        )
        check = self.check
        if check is not None:
            region, frequency = check.region.at(index), check.frequency[index]
            check = replace(check, region=region, frequency=frequency)
        path = at_points(self.path, index)
        return Scene(self.solved.at_points(index), known, seen, check, path)

    def other(
        self,
        which: Literal["known", "seen"],
        names: Sequence[str],
        change: Callable[..., Complex | tuple[Complex, ...]],
    ) -> "Scene":
        """With what a change makes of the values of some artefacts, if they are all here."""
        old = getattr(self, which)
        if not names or not set(names) <= old.keys():
            return self
        made = change(*(old[name].value for name in names))
        values = made if isinstance(made, tuple) else (made,)
        new = {n: replace(old[n], value=v) for n, v in zip(names, values, strict=True)}
        return replace(self, **{which: old | new})

    @cached_property
    def calibration(self) -> Calibration:
        """Solved from the standards as they are here."""
        old = self.solved
        known, seen = (tuple(of[name] for name in old.names) for of in (self.known, self.seen))
        if known == old.known and seen == old.seen:
            return old
        return replace(old, seen=seen).with_known(known)

    @cached_property
    def off(self) -> Real:
        """Squared distances from agreement, those of two normal variables each [1].

        A check's own region is taken about where it would be, which is quick.
        """
        found, check = self.calibration, self.check
        if check is None:
            total, freedom = found.chi_square()
            return 2 * total / max(freedom, 1)
        whole = found.error_box @ path_map(found.error_box, self.path)
        x = whole.correct(self.seen[check.name].value)
        return replace(check.region, centre=x).squared_distance_to(self.known[check.name])

    def agrees(self, chance: float) -> bool:
        """Whether no more is off than chance explains, by the region that it would have."""
        check = self.check
        if check is None:
            return not np.any(contradict(self.calibration, chance))
        reading, expected = self.seen[check.name], self.known[check.name]
        inputs = replace(
            check.inputs, calibration=self.calibration, reading=reading, path=self.path
        )
        with np.errstate(all="ignore"):
            measured = propagate(inputs)
            return as_expected(inputs, measured, region(inputs, measured), expected, chance)
