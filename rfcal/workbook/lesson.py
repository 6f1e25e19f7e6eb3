"""What a lesson needs besides panels: exercises, the truth of simulated data, figures in cells."""

import json
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
from IPython.display import display

from rfcal.maths.reflection import to_impedance
from rfcal.record.files import write_files
from rfcal.record.format.schema import Record
from rfcal.record.job import compute as job
from rfcal.record.results import Results
from rfcal.report import verify as report
from rfcal.report.page import output_files
from rfcal.report.verify import Verdict
from rfcal.uncertainty import words
from rfcal.workbook.pictures import ONE_OHM

WIDE = 92
"""Characters of a line that a notebook shows without breaking it."""

KEPT: dict[str, Any] = {"break_long_words": False, "break_on_hyphens": False}
"""Words that stay whole: paths and commands."""

VIEW = "application/vnd.jupyter.widget-view+json"


@contextmanager
def under_way(said: str) -> Iterator[Callable[[str], None]]:
    """Say in the cell what it is busy with, and take it away at the end, whatever the end is."""
    label = widgets.Label(said)
    display({VIEW: label._repr_mimebundle_()[VIEW]}, raw=True)
    try:
        yield lambda said: setattr(label, "value", said)
    finally:
        label.close()


def compute(record: Record | str | Path, *needs: str, demo: str | Path = "") -> Results:
    """A record's results; a demo's, with the reason, where it lacks one of `LACKING`."""
    with under_way("reading the record") as say:
        results = job.compute(record, say=say)
    why = lacking(results, *needs)
    if not (why and demo):
        return results
    tell(f"{why} What follows is the demo's.")
    return compute(demo)


def verify(page: Path) -> Verdict:
    """Whether all that a page shows follows from the readings that it carries."""
    with under_way("computing the page again"):
        return report.verify(page)


@dataclass(frozen=True)
class Told:
    """Words that flow in the width there is, and are stored in short lines."""

    lines: tuple[str, ...]

    def __repr__(self) -> str:
        return "\n".join(map(_short, self.lines))

    def _repr_html_(self) -> str:
        look = '<div style="padding-left: {}ch; text-indent: -2ch">\n{}\n</div>'
        return "\n".join(
            look.format(_inward(x), escape(_short(x).strip(), quote=False)) for x in self.lines
        )


def tell(*lines: str) -> None:
    """Say lines in a cell; printed, JupyterLab would break them within words."""
    display(Told(lines))


def _short(line: str) -> str:
    return textwrap.fill(line, WIDE, subsequent_indent=" " * _inward(line), **KEPT)


def _inward(line: str) -> int:
    """How far in from the left a line goes on [characters]."""
    return len(line) - len(line.lstrip()) + 2


def against_truth(results: Results) -> str:
    """How often the intervals hold the truth where it is known, or that nobody knows it."""
    path = Path(results.record.folder) / "truth.json"
    if not path.is_file():
        return "No truth is recorded here, as with all real readings: only a [[check]] can speak."
    true = np.array(json.loads(path.read_text())["impedance_ohm"])
    device = results.devices[0]
    found = np.stack([device.impedance.value.real, device.impedance.value.imag], axis=-1)
    inside = np.abs(found - true) <= device.expanded_uncertainty()
    raw = to_impedance(device.raw.reflection, device.raw.z_ref)
    at = device.answer
    is_, read, corrected = (
        words.complex_ohm(complex(z), ONE_OHM)
        for z in (complex(*true[at]), raw[at], device.impedance.value[at])
    )
    return (
        f"Simulated, so the truth is known: at {words.mhz(device.frequency[at])} it is {is_}, the "
        f"raw reading {read}, corrected {corrected}. The 95 % interval holds the true R at "
        f"{inside[:, 0].mean():.0%} and the true X at {inside[:, 1].mean():.0%} of the points."
    )


LACKING = {
    "device": "a device, and this record has no [[measurement]]",
    "standards": "standards; here the instrument corrected itself",
    "between": "a path to the device, and this record has nothing between it and the standards",
    "line": "a line, and this record has no [line_check]",
    "far ends": "a line's own figures, and this record has no sweeps of its far end open or short",
    "baseline": "what changed, and this record has no earlier sweep of its line",
    "match": "a match, and this record has no [match]",
    "network": "networks, and here the device holds the target without one",
    "parts": "components, and this record has no [[component]]",
}
"""What a part of a notebook is about, and why it does not apply."""


def lacking(results: Results, *needs: str) -> str:
    """Why a part does not apply to a record, by what it needs of `LACKING`; empty where it does."""
    line = results.line
    there = {
        "device": bool(results.devices),
        "standards": bool(results.bench.standards),
        "between": any(device.inputs.path for device in results.devices[:1]),
        "line": line is not None,
        "far ends": line is not None and line.properties is not None,
        "baseline": line is not None and line.comparison is not None,
        "match": bool(results.matches),
        "network": any(match.proposals for match in results.matches),
        "parts": bool(results.parts),
    }
    for need in needs:
        if not there[need]:
            return f"This part is about {LACKING[need]}."
    return ""


def verdict(results: Results) -> str:
    """Whether a record's checks agree, or that it has none."""
    if not results.checks:
        return "This record has no [[check]], so nothing could have contradicted its answer."
    disagree = [check.name for check in results.checks if not check.agrees]
    if disagree:
        return f"Do not trust the answer yet: {', '.join(disagree)} does not agree."
    return f"In '{results.record.title}' every check agrees."


def save_report(results: Results, output: str | Path) -> list[str]:
    """Write a record's page and data files over earlier ones; gives the files' names."""
    with under_way("drawing the page") as say:
        files = output_files(results, say)
    write_files(Path(output), files, force=True)
    return list(files)


UNITS = "look at the unit, such as MHz or Hz, m or mm."
USUAL = (
    (-1.0, "the sign is the other way round."),
    (np.pi / 180, "that is in radians."),
    *((factor, UNITS) for factor in (1e-6, 1e-3, 1e3, 1e6)),
)
"""What usual mistakes multiply an answer by, whatever was asked, and the sentence on each."""


def check(answer: float, true: float, *, unit: str, why: str, slips: dict[str, float]) -> str:
    """Judge a reader's number; `slips` has what mistakes give here, by the sentence on each."""
    said = f"{answer:g} {unit}".strip()
    if abs(answer - true) <= 0.02 * abs(true):
        return f"Right: {f'{true:.3g} {unit}'.strip()}. {why}"
    for reason, value in (*slips.items(), *((reason, true * factor) for factor, reason in USUAL)):
        if abs(answer - value) <= 0.02 * abs(value):
            return f"Not {said}: {reason}"
    return f"Not {said}, which is too {'large' if answer > true else 'small'}. {why}"
