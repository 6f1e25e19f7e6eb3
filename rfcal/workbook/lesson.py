"""What a lesson needs besides panels: exercises, the truth of simulated data, figures in cells."""

import base64
import json
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
from IPython.display import display
from matplotlib.figure import Figure

from rfcal.maths.reflection import to_impedance
from rfcal.record.files import write_files
from rfcal.record.format.schema import Record
from rfcal.record.job import compute as job
from rfcal.record.results import Results
from rfcal.report import verify as report
from rfcal.report.figures.render import png_bytes
from rfcal.report.page import output_files
from rfcal.report.verify import Verification
from rfcal.uncertainty import words
from rfcal.workbook.panel import ONE_OHM

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
    if has(results, *needs):
        return results
    tell("What follows is the demo's.")
    return compute(demo)


def verify(page: Path) -> Verification:
    """Whether all that a page shows follows from the readings that it carries."""
    with under_way("computing the page again"):
        return report.verify_file(page)


@dataclass(frozen=True)
class _Shown:
    """What a cell shows, and the words that are stored and compared."""

    plain: str
    kind: str
    data: str

    def __repr__(self) -> str:
        return self.plain

    def _repr_mimebundle_(self, **kwargs: Any) -> tuple[dict[str, str], dict[str, Any]]:
        wide = {"image/png": {"unconfined": True}}
        return {"text/plain": self.plain, self.kind: self.data}, wide


def tell(*lines: object) -> None:
    """Say lines in a cell, in the width there is; printed, they would break within words."""
    look = '<div style="padding-left: {}ch; text-indent: -2ch">\n{}\n</div>'
    plain, html = [], []
    for line in map(str, lines):
        inward = len(line) - len(line.lstrip()) + 2
        plain.append(textwrap.fill(line, WIDE, subsequent_indent=" " * inward, **KEPT))
        html.append(look.format(inward, escape(plain[-1].strip(), quote=False)))
    if lines:
        display(_Shown("\n".join(plain), "text/html", "\n".join(html)))


def table(rows: Iterable[Sequence[object]]) -> None:
    """Show rows of cells, which break in a narrow window."""
    cells = [[str(cell) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    plain = ("  ".join(map(str.ljust, row, widths)).rstrip() for row in cells)
    html = ("<tr><td>" + escape("\0".join(row), quote=False) + "</td></tr>" for row in cells)
    text = "\n".join(["<table>", *html, "</table>"]).replace("\0", "</td>\n<td>")
    display(_Shown("\n".join(plain), "text/html", text))


def show(figure: Figure, alt: str) -> None:
    """Show a figure, and in words what it says; a narrow window moves it and does not shrink it."""
    display(_Shown(alt, "image/png", base64.b64encode(png_bytes(figure)).decode("ascii")))


def against_truth(results: Results) -> str:
    """How often the intervals hold the truth where it is known, or that nobody knows it."""
    path = Path(results.record.folder) / "truth.json"
    if not path.is_file():
        return "No truth is recorded here, as with all real readings: only a [[check]] can speak."
    true = np.array(json.loads(path.read_text())["impedance_ohm"])
    device, at = results.devices[0], results.devices[0].answer
    low, high = np.moveaxis(device.interval, -1, 0)
    of_r, of_x = np.mean((low <= true) & (true <= high), axis=0)
    raw = to_impedance(device.raw.reflection, device.raw.z_ref)[at]
    impedances = complex(*true[at]), raw, device.impedance.value[at]
    is_, read, corrected = (words.complex_ohm(complex(z), ONE_OHM) for z in impedances)
    return (
        f"Simulated, so the truth is known: at {words.mhz(device.frequency[at])} it is {is_}, the "
        f"raw reading {read}, corrected {corrected}. The 95 % interval holds the true R at "
        f"{of_r:.0%} and the true X at {of_x:.0%} of the points."
    )


LACKING: dict[str, tuple[str, Callable[[Results], object]]] = {
    "device": ("a device, and this record has no [[measurement]]", lambda r: r.devices),
    "standards": ("standards; here the instrument corrected itself", lambda r: r.bench.standards),
    "between": (
        "a path to the device, and this record has nothing between it and the standards",
        lambda r: any(device.inputs.path for device in r.devices[:1]),
    ),
    "line": ("a line, and this record has no [line_check]", lambda r: r.line),
    "far ends": (
        "a line's own figures, and this record has no sweeps of its far end open or short",
        lambda r: r.line and r.line.properties,
    ),
    "baseline": (
        "what changed, and this record has no earlier sweep of its line",
        lambda r: r.line and r.line.comparison,
    ),
    "match": ("a match, and this record has no [match]", lambda r: r.matches),
    "network": (
        "networks, and here the device holds the target without one",
        lambda r: any(match.proposals for match in r.matches),
    ),
    "parts": ("components, and this record has no [[component]]", lambda r: r.parts),
}
"""What parts of a notebook are about and why one does not apply; what there is where it does."""


def has(results: Results, *needs: str) -> bool:
    """Whether a part applies to a record, by what it needs of `LACKING`; says why where not."""
    why = [what for what, there in map(LACKING.__getitem__, needs) if not there(results)]
    tell(*(f"This part is about {what}." for what in why[:1]))
    return not why


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


def exercise(
    true: float, unit: str = "", *, why: str, slips: dict[str, float]
) -> Callable[[float], None]:
    """What judges a reader's number; `slips` has what mistakes give, by the sentence on each."""
    return lambda answer: tell(judged(answer, true, unit, why, slips))


def judged(answer: float, true: float, unit: str, why: str, slips: dict[str, float]) -> str:
    """The sentence on a reader's number."""
    said = f"{answer:g} {unit}".strip()
    if abs(answer - true) <= 0.02 * abs(true):
        return f"Right: {f'{true:.3g} {unit}'.strip()}. {why}"
    for reason, value in (*slips.items(), *((reason, true * factor) for factor, reason in USUAL)):
        if abs(answer - value) <= 0.02 * abs(value):
            return f"Not {said}: {reason}"
    return f"Not {said}, which is too {'large' if answer > true else 'small'}. {why}"
