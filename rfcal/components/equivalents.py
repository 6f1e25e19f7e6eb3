"""A part as two elements at each frequency: in series or in parallel, with its loss."""

from collections.abc import Mapping

from rfcal.components.circuits import over
from rfcal.uncertainty.derived import Figure

TWO_ELEMENTS = (
    "resistance",
    "reactance",
    "impedance_magnitude",
    "series_inductance",
    "series_capacitance",
    "parallel_resistance",
    "parallel_inductance",
    "parallel_capacitance",
    "q",
)
"""What is read off a reflection that concerns a part. In series its resistance is its ESR."""


def equivalents(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    """Of a device's figures those of a part, and the dissipation factor, one over Q."""
    q = figures["q"]
    loss = Figure(over(q.value), over(q.high), over(q.low), "", 0.0)
    return {name: figures[name] for name in TWO_ELEMENTS} | {"dissipation_factor": loss}
