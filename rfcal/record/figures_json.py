"""Figures with intervals, and parts, as ``results.json`` has them."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from rfcal.record.findings.components import part_words
from rfcal.record.json_text import Told, once
from rfcal.record.results import Part
from rfcal.uncertainty.derived import Figure


def told_part(part: Part) -> dict[str, Any]:
    """One part: its answer, its circuit and all that were tried, its equivalents."""
    verdict, chosen = part.verdict, part.verdict.chosen
    return {
        "measurement": part.request.measurement,
        "answer": part_words(part),
        "model": chosen and chosen.name,
        "as_well": list(verdict.rivals),
        "reason": verdict.reason or None,
        "method": part.request.method,
        "fixture_share": part.fixture and Told(part.fixture.share, 1.0),
        "temperature_c": part.request.temperature_c,
        "values": {
            key: {name: _one(getattr(figure, name)) for name in ("value", "low", "high")}
            for key, figure in _keyed(verdict.figures).items()
        },
        "models": [
            {"model": f.name, "chi_square": f.chi_square, "degrees_of_freedom": f.freedom}
            | {"criterion": f.criterion, "describes": f.describes}
            for f in verdict.fits
        ],
        "frequency_hz": verdict.sweep.frequency,
        "equivalents": told_figures(part.equivalents),
    }


def _one(value: np.ndarray) -> float | None:
    """A number that is one, to the digits that any uncertainty can support."""
    return float(f"{value[0]:.6g}") if np.isfinite(value[0]) else None


def told_figures(figures: Mapping[str, Figure]) -> dict[str, Any]:
    """Figures over frequency and their intervals, by name and unit."""
    return {key: told_figure(figure) for key, figure in _keyed(figures).items()}


def _keyed(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    return {
        f"{name}_{figure.unit.lower()}" if figure.unit else name: figure
        for name, figure in figures.items()
    }


def told_figure(figure: Figure) -> dict[str, Any]:
    """A figure and its interval, to the fifth digit of the larger side that is known."""
    ends = np.stack([figure.low, figure.high])
    with np.errstate(invalid="ignore"):  # both ends may be infinite: no side is known then
        sides = np.abs(ends - np.where(np.isfinite(figure.value), figure.value, ends[::-1]))
    wide = np.max(np.where(np.isfinite(sides), sides, 0), axis=0)
    wide = np.where(wide > 0, wide, np.inf)
    told = {name: Told(getattr(figure, name), wide) for name in ("value", "low", "high")}
    return {**told, "one_sided": once(figure.one_sided)}
