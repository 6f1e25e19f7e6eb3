"""Standards that are badly spread, or that contradict an analyzer's nature or each other."""

from collections.abc import Mapping
from itertools import combinations
from types import MappingProxyType

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.measurement.error_terms import Calibration, calibrate
from rfcal.record.findings.analyzer import about_analyzer
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.misread import Meanings
from rfcal.record.findings.slips import contradict
from rfcal.uncertainty.words import complex_ohm

CONDITION_WARNING = 30.0
"""Condition number of the standards above which the answer leans on tiny differences."""
PASSIVE = 1.05
"""Size [1] of what a standard would have to reflect above which it is no explanation: nothing that
is connected gives power, and standards are known better than this (common practice, no source)."""
IDEAL = 0.03
"""Size of error terms [1] below which all three are those of an instrument that corrects itself: a
raw one's bridge has 30 dB of directivity at best, and a tracking that turns (common practice, no
source)."""
ALIKE, APART = 0.15, 0.7
"""Raw readings nearer to each other than the first [1] are of no standards that are as far apart as
the second: analyzers show more of a step on the chart (common practice, no source)."""
EDGE = 36
"""Points about the chart's edge at which the growth of an error is looked at."""


def about_standards(
    calibration: Calibration,
    *,
    z_ref: float = defaults.REFERENCE_OHM,
    chance: float = defaults.FALSE_ALARM,
    why: str = "",
    meant: Mapping[str, Meanings] = MappingProxyType({}),
) -> list[Finding]:
    """What there is to say about the standards and the error terms; `z_ref` is theirs [ohm].

    The chance [1] is that of being said to contradict each other without cause; what would explain
    it stands in `why` where one thing does, and what else the readings may mean in `meant`.
    """
    frequency, found = calibration.frequency, []
    poor = calibration.condition > CONDITION_WARNING
    if np.any(poor):
        worst = np.max(growth(calibration)[poor])
        found.append(say.STANDARDS_CLOSE(where=span_mhz(frequency, poor), growth=worst))
    found += _read_alike(calibration) or about_analyzer(calibration, meant)
    bad = contradict(calibration, chance)
    if np.any(bad):
        chi_square, freedom = calibration.chi_square()
        found.append(
            say.STANDARDS_DISAGREE(
                where=span_mhz(frequency, bad),
                chi_square=np.max(chi_square),
                freedom=freedom,
                evidence=why or _evidence(calibration, int(np.argmax(chi_square)), z_ref),
            )
        )
    return found


def about_correction(calibration: Calibration) -> list[Finding]:
    """Whether standards were read by an instrument that corrected them itself."""
    box = calibration.error_box
    terms = (box.directivity, box.source_match, box.reflection_tracking - 1)
    size = max(np.max(np.abs(term)) for term in terms)
    return [say.STANDARDS_CORRECTED(size=size)] if size < IDEAL else []


def _read_alike(calibration: Calibration) -> list[Finding]:
    """Standards that should be far apart, and were read close to each other."""
    each = zip(calibration.names, calibration.known, calibration.seen, strict=True)
    found = []
    for (one, is_one, read_one), (other, is_other, read_other) in combinations(each, 2):
        size = float(np.max(np.abs(read_one.value - read_other.value)))
        if size < ALIKE and np.min(np.abs(is_one.value - is_other.value)) > APART:
            found.append(say.READ_ALIKE(one=one, other=other, size=size))
    return found


def growth(calibration: Calibration) -> Real:
    """How many times an error of one standard may come out elsewhere on the chart, shape (F,).

    Source: a bilinear map is off by its slope times a polynomial of degree 2 of the reflection; the
    standards fix that polynomial, and it is largest on the chart's edge.
    """
    g = np.array([k.value for k in calibration.known])
    powers = np.moveaxis(g[..., None] ** np.arange(3), 0, -2)
    edge = np.exp(2j * np.pi * np.arange(EDGE) / EDGE)[:, None] ** np.arange(3)
    return np.max(np.abs(edge @ np.linalg.pinv(powers)), axis=(-2, -1))


def _evidence(calibration: Calibration, at: int, z_ref: float) -> str:
    """Which standard would explain a contradiction by itself, and what it would have to be."""
    would_be, active = {}, False
    for name in calibration.names:
        value = _by_the_others(calibration, name)
        if value is not None and (abs(value[at]) > PASSIVE):
            active = True
        elif value is not None:
            impedance = complex(to_impedance(value[at], z_ref))
            ohm = complex_ohm(impedance, np.full(2, abs(impedance) / 50))
            mhz = calibration.frequency[at] / 1e6
            would_be[name] = say.WOULD_BE.format(name=name, ohm=ohm, mhz=mhz)
    if len(would_be) > 1:
        return say.SEVERAL_CULPRITS.format(several="; ".join(would_be.values()))
    if would_be:
        one = say.ONE_PASSIVE if active else say.ONE_CULPRIT
        return one.format(one=next(iter(would_be.values())))
    return say.NO_CULPRIT


def _by_the_others(calibration: Calibration, name: str) -> Complex | None:
    """What the other standards make of one's reading [1]; None where they disagree without it."""
    out = calibration.names.index(name)
    names, known, seen = calibration.names, calibration.known, calibration.seen
    try:
        others = calibrate(
            calibration.frequency,
            names[:out] + names[out + 1 :],
            known[:out] + known[out + 1 :],
            seen[:out] + seen[out + 1 :],
        )
    except CalibrationError:  # they fix nothing without it, so it cannot be what they contradict
        return None
    if np.any(contradict(others)):
        return None
    return others.error_box.correct(seen[out].value)
