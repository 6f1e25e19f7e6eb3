"""What is read off a corrected reflection, and how far Monte Carlo upholds it, in words."""

import math

from rfcal.record.results import Device
from rfcal.report.text.device import figure_words, swr_words

NAMES = {
    "impedance_magnitude": "|Z|",
    "swr": "SWR",
    "return_loss": "return loss",
    "series_inductance": "as L in series with R",
    "series_capacitance": "as C in series with R",
    "parallel_resistance": "as R in parallel",
    "parallel_inductance": "as L in parallel with it",
    "parallel_capacitance": "as C in parallel with it",
    "q": "Q",
}
"""Figures on the page, in this order; a coil is not named a negative capacitor, nor the reverse."""


def figure_rows(device: Device) -> list[tuple[str, str]]:
    """What is read off the reflection at the answer's frequency, with 95 % intervals.

    Parameters
    ----------
    device : Device
        A corrected measurement.

    Returns
    -------
    list of (str, str)
        Name and value.
    """
    at, rows = device.answer, []
    for key, name in NAMES.items():
        figure = device.figures[key]
        value, low, high = (float(v[at]) for v in (figure.value, figure.low, figure.high))
        reactive = key.endswith(("inductance", "capacitance"))
        if reactive and math.isinf(low) and math.isinf(high):
            rows.append((name, "unknown: it may be a coil or a capacitor, or neither"))
            continue
        if reactive and not value > 0:
            continue
        said = swr_words(value, low, high) if key == "swr" else ""
        rows.append((name, said or figure_words(figure, at)))
    return rows


def method(device: Device) -> str:
    """Whether Monte Carlo upholds the linear answer.

    Parameters
    ----------
    device : Device
        A corrected measurement.

    Returns
    -------
    str
        One sentence.
    """
    assessed, points = device.assessed, device.frequency.size
    share = float(assessed.linear.all(axis=1).mean())
    where = "there" if points == 1 else f"at {share:.0%} of the {points} points"
    if points == 1 and not share:
        return (
            "Monte Carlo does not uphold linear propagation here (JCGM 101, clause 8): believe "
            "the interval, not the standard deviation."
        )
    said = (
        f"Monte Carlo upholds linear propagation {where} (JCGM 101, clause 8); the intervals hold "
        "in either case, and the ellipse is Monte Carlo's where linear propagation fails."
    )
    least, most = int(assessed.draws.min()), int(assessed.draws.max())
    draws = f"{least} to {most}" if most > least else str(least)
    said += (
        f" It drew {draws} times a point, until its own figures stood still (7.9.4: the tolerance "
        "is half of the last digit of a one-digit uncertainty) or the verdict could not change."
    )
    if assessed.settled.all():
        return said
    return (
        f"{said} At {1 - float(assessed.settled.mean()):.0%} of the points they did not come to "
        "rest, so the verdict there may go either way."
    )
