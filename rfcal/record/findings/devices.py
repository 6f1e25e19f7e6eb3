"""Corrected values that no passive device can have, and places where intervals mislead."""

from collections.abc import Iterable

import numpy as np

from rfcal.defaults import FALSE_ALARM
from rfcal.findings import Finding, span_mhz
from rfcal.measurement.deembedding import Cable
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.findings.catalogue.entry import Entry
from rfcal.record.findings.catalogue.readings import MOVED, SAME_READING
from rfcal.record.findings.catalogue.standards import (
    ANTICLOCKWISE,
    CHECK_DISAGREES,
    ERROR_TERMS,
    HALF_TURN,
    READ_ALIKE,
    STANDARDS_CORRECTED,
    STANDARDS_DISAGREE,
)
from rfcal.record.findings.displays import about_two
from rfcal.record.findings.traces import DECIBEL
from rfcal.record.results import Device
from rfcal.uncertainty.coverage import region_radius
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import active_points

CROOKED = 0.2
"""Radius of the 95 % region, in parts of its distance from an open, above which R is doubtful.

Found by whole simulated sessions: up to there the intervals of R and X cover 94 % or more.
"""
HIDDEN = 0.3
"""Radius of a device's 95 % region [1] from which its place on the chart is hardly known."""


LOSSLESS = 0.95
"""Reflection [1] from which a device has next to no loss, so that its reactance rises (source:
R. M. Foster, A reactance theorem, Bell System Technical Journal 3, 1924)."""
RUN = 5
"""Neighbouring points from which a device's turn is judged."""
CURVE_POINTS, CURVE_DEGREE = 41, 11
"""Points from which a curve is told, and the degree of the polynomial that smooths it."""
CURVE_LENGTH, CURVE_OFF = 0.2, 0.02
"""Length on the chart from which a curve bends for certain [1], and how far off the smooth one it
may be, in parts of it."""
CUSP_RAD = 0.35
"""A curve that turns by more from point to point [rad] is noise, or too fast to be told."""
BENT_RAD = np.radians(60.0)
"""A bend the wrong way of so much [rad] is one all along; a match may have less in its loops."""
TURNED_RAD, SURE = np.radians(3.0), 6.0
"""A turn the wrong way of so much [rad], and so many standard deviations, is none by chance."""
DOUBTING = (
    *(ERROR_TERMS, READ_ALIKE, ANTICLOCKWISE, HALF_TURN, STANDARDS_CORRECTED),
    *(STANDARDS_DISAGREE, CHECK_DISAGREES, MOVED, SAME_READING),
)
"""What makes an active device one more sign of the same."""
NEAR = 0.2
"""Distance of a reflection from an open's [1] within which it is near one: ten times z_ref, say."""
TOLD = 2
"""Sources of uncertainty that are named where little is known, at the most,"""
LEAST = 0.05
"""and the share that one after the first must have to be named."""


def about_device(
    found: Device, *, solved: bool = True, chance: float = FALSE_ALARM, sound: bool | None = None
) -> list[Finding]:
    """What there is to say about one corrected measurement.

    An instrument that corrects itself (not `solved`) has no standards to mix up; the chance [1] is
    that of being called active without cause; `sound` says whether standards and checks agree.
    """
    radius, distance = region_radius(found.reflection), np.abs(1 - found.reflection.value)
    hidden = radius > HIDDEN
    # Z = z_ref (1 + x)/(1 - x) is not straight over a region as wide as its distance from 1
    crooked = (radius > CROOKED * distance) & ~hidden
    active = active_points(found.reflection, chance)
    judged: tuple[tuple[Entry, np.ndarray], ...] = (
        (say.ACTIVE, active),
        (say.DEVICE_HIDDEN, hidden),
        (say.NEAR_OPEN, crooked & (distance < NEAR)),
        (say.LOPSIDED, crooked & (distance >= NEAR)),
    )
    course = (
        [] if np.any(active) else falls(found) or bends(found)
    )  # one sign of a wrong path is enough
    return [*course, *about_two(found)] + [
        entry(
            device=found.name,
            where=span_mhz(found.frequency, where),
            radius=np.max(radius),
            sources=largest_sources(found.reflection, where),
            causes=_causes(found, where, solved, sound),
            length=_length(found),
        )
        for entry, where in judged
        if np.any(where)
    ]


def soundness(told: Iterable[Finding], checked: bool) -> bool | None:
    """Whether standards and checks agree, by what was told; None where nothing could tell."""
    codes = {entry.code for entry in DOUBTING}
    if any(finding.code in codes for finding in told):
        return False
    return True if checked else None


def falls(found: Device) -> list[Finding]:
    """Whether the reactance of what has next to no loss falls with frequency."""
    x = found.reflection.value
    near = (np.abs(x) > LOSSLESS) & (np.abs(x) < 2 - LOSSLESS)
    edges = np.flatnonzero(np.diff(np.pad(near, 1)))
    runs = edges.reshape(-1, 2)
    first, end = runs[np.argmax(runs[:, 1] - runs[:, 0])] if runs.size else (0, 0)
    if end - first < RUN:
        return []
    steps = np.angle(x[first + 1 : end] / x[first : end - 1])
    if np.max(np.abs(steps)) > np.pi / 2:
        return []
    last, variance = end - 1, 0.0
    for effect in found.reflection.effects:
        change = np.broadcast_to(effect.change, x.shape)
        ends = np.imag([change[first] / x[first], -change[last] / x[last]])
        variance += np.sum(ends**2) if effect.per_point else np.sum(ends) ** 2
    if np.sum(steps) < max(TURNED_RAD, SURE * np.sqrt(variance)):
        return []
    where = (np.arange(x.size) >= first) & (np.arange(x.size) < end)
    behind = any(not step.embed for step in found.inputs.path)
    return [
        say.REACTANCE_FALLS(
            device=found.name,
            causes=say.FALLS_BEHIND if behind else say.FALLS_OWN,
            where=span_mhz(found.frequency, where),
            degrees=np.degrees(np.sum(steps)),
        )
    ]


def bends(found: Device) -> list[Finding]:
    """Whether the curve of a device at the plane bends anticlockwise, which passive ones seldom do.

    A series or parallel resonance, a coil, a capacitor and anything behind a line run clockwise
    round their circles on the chart (common practice, no source).
    """
    x, f = found.reflection.value, found.frequency
    if found.inputs.path or f.size < CURVE_POINTS:
        return []
    along = 2 * (f - f[0]) / (f[-1] - f[0]) - 1
    curve = np.polynomial.Polynomial.fit(along, x, CURVE_DEGREE)
    length = float(np.sum(np.abs(np.diff(curve(along)))))
    off = float(np.sqrt(np.mean(np.abs(curve(along) - x) ** 2)))
    if length < CURVE_LENGTH or off > CURVE_OFF * length:
        return []
    way = curve.deriv()(along)
    turns = np.angle(way[1:] / way[:-1])
    bend = float(np.sum(turns))
    if bend < BENT_RAD or np.max(np.abs(turns)) > CUSP_RAD:
        return []
    return [say.BENDS(device=found.name, degrees=np.degrees(bend))]


def _length(found: Device) -> str:
    """To look at the length of the lines that are removed; nothing where there are none."""
    removed = (step.element for step in found.inputs.path if not step.embed)
    metres = sum(e.line.length_m for e in removed if isinstance(e, Cable))
    return say.HIDDEN_LENGTH.format(metres=metres) if metres else ""


def _causes(found: Device, where: np.ndarray, solved: bool, sound: bool | None) -> str:
    """Why a device may seem active at some points."""
    raw, path = found.inputs.reading.value, found.inputs.path
    if np.all((np.abs(raw) >= 1) & (np.abs(raw) < DECIBEL)):
        return say.ACTIVE_LINEAR
    at_plane = found.inputs.calibration.error_box.correct(raw)
    if any(not step.embed for step in path) and np.all(np.abs(at_plane[where]) < 1):
        line = any(isinstance(step.element, Cable) for step in path)
        return say.ACTIVE_BEHIND if line else say.ACTIVE_REMOVED
    if not solved:
        return say.ACTIVE_INSIDE
    if sound is None:
        return say.ACTIVE_CAUSES.format(reading="file" if found.raw.origin else "reading")
    return say.ACTIVE_STILL if sound else say.ACTIVE_FIRST


def largest_sources(reflection: Quantity, where: np.ndarray) -> str:
    """The largest sources of a reflection's uncertainty at some points, with their shares."""
    parts = {
        source: float(np.mean(np.trace(np.broadcast_to(c, (where.size, 2, 2))[where], 0, 1, 2)))
        for source, c in reflection.by_source().items()
    }
    total = sum(parts.values()) or 1.0
    first, *others = sorted(parts, key=lambda source: -parts[source])
    told = [first, *(s for s in others[: TOLD - 1] if parts[s] > LEAST * total)]
    return " and ".join(f"'{source}' ({parts[source] / total:.0%})" for source in told)
