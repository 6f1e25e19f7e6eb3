"""Corrected values that no passive device can have, and places where intervals mislead."""

import numpy as np

from rfcal.defaults import FALSE_ALARM
from rfcal.findings import Finding, span_mhz
from rfcal.record.findings import catalogue as say
from rfcal.record.findings.displays import about_two
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


NEAR = 0.2
"""Distance of a reflection from an open's [1] within which it is near one: ten times z_ref, say."""
TOLD = 2
"""Sources of uncertainty that are named where little is known."""


def about_device(
    found: Device, *, solved: bool = True, chance: float = FALSE_ALARM
) -> list[Finding]:
    """What there is to say about one corrected measurement.

    An instrument that corrects itself (not `solved`) has no standards to mix up; the chance [1] is
    that of being called active without cause.
    """
    radius, distance = region_radius(found.reflection), np.abs(1 - found.reflection.value)
    hidden = radius > HIDDEN
    # Z = z_ref (1 + x)/(1 - x) is not straight over a region as wide as its distance from 1
    crooked = (radius > CROOKED * distance) & ~hidden
    judged: tuple[tuple[say.Entry, np.ndarray], ...] = (
        (say.ACTIVE, active_points(found.reflection, chance)),
        (say.DEVICE_HIDDEN, hidden),
        (say.NEAR_OPEN, crooked & (distance < NEAR)),
        (say.LOPSIDED, crooked & (distance >= NEAR)),
    )
    return about_two(found) + [
        entry(
            device=found.name,
            where=span_mhz(found.frequency, where),
            radius=np.max(radius),
            sources=largest_sources(found.reflection, where),
            causes=say.ACTIVE_CAUSES if solved else say.ACTIVE_INSIDE,
        )
        for entry, where in judged
        if np.any(where)
    ]


def largest_sources(reflection: Quantity, where: np.ndarray) -> str:
    """The largest sources of a reflection's uncertainty at some points, with their shares."""
    parts = {
        source: float(np.mean(np.trace(np.broadcast_to(c, (where.size, 2, 2))[where], 0, 1, 2)))
        for source, c in reflection.by_source().items()
    }
    total = sum(parts.values()) or 1.0
    most = sorted(parts, key=lambda source: -parts[source])[:TOLD]
    return " and ".join(f"'{source}' ({parts[source] / total:.0%})" for source in most)
