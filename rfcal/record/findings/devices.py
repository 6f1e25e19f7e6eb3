"""Corrected values that no passive device can have, and places where intervals mislead."""

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.record.findings.catalogue import ACTIVE, DEVICE_HIDDEN, NEAR_OPEN, Entry
from rfcal.record.results import Device
from rfcal.uncertainty.coverage import region_radius
from rfcal.uncertainty.significance import active_points

CROOKED = 0.2
"""Radius of the 95 % region, in parts of its distance from an open, above which R is doubtful.

Found by whole simulated sessions: up to there the intervals of R and X cover 94 % or more.
"""
HIDDEN = 0.3
"""Radius of a device's 95 % region [1] from which its place on the chart is hardly known."""


def about_device(found: Device) -> list[Finding]:
    """What there is to say about one corrected measurement."""
    radius = region_radius(found.reflection)
    hidden = radius > HIDDEN
    # Z = z_ref (1 + x)/(1 - x) is not straight over a region as wide as its distance from 1
    crooked = radius > CROOKED * np.abs(1 - found.reflection.value)
    judged: tuple[tuple[Entry, np.ndarray], ...] = (
        (ACTIVE, active_points(found.reflection)),
        (DEVICE_HIDDEN, hidden),
        (NEAR_OPEN, crooked & ~hidden),
    )
    return [
        say(device=found.name, where=span_mhz(found.frequency, where), radius=np.max(radius))
        for say, where in judged
        if np.any(where)
    ]
