"""One self-contained page: what was measured, the answer, how sure, and the record itself."""

import json
from base64 import b64encode
from collections.abc import Callable, Iterator
from functools import cache, partial
from hashlib import sha256
from pathlib import Path
from typing import Any
from unicodedata import category

import numpy as np
from markupsafe import Markup
from matplotlib.figure import Figure
from numpy.typing import NDArray

from rfcal.findings import FOREMOST, Finding, told_once
from rfcal.models.line import Line
from rfcal.record import archive, export
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.findings.catalogue.match import MATCH_UNKNOWN, MATCH_VOLTAGE
from rfcal.record.findings.catalogue.readings import DEFAULTS
from rfcal.record.findings.devices import why_wrong
from rfcal.record.findings.line.state import line_verdict
from rfcal.record.results import Device, Results, error_terms, fingerprint
from rfcal.report.figures import device as plots
from rfcal.report.figures import match as match_plots
from rfcal.report.figures.components import part_figure
from rfcal.report.figures.render import svg_text
from rfcal.report.figures.style import own_settings
from rfcal.report.text import build
from rfcal.report.text import components as of_part
from rfcal.report.text import device as words
from rfcal.report.text import match as of_match
from rfcal.report.text.line import line_lines
from rfcal.uncertainty import words as numbers

TABLE_ROWS = 2001
"""Rows of the page's table; a longer sweep is thinned, its Touchstone file holds it whole."""

ELSEWHERE = (MATCH_VOLTAGE.code, MATCH_UNKNOWN.code, *UNSEEN, DEFAULTS.code, *FOREMOST)
"""Findings that stand where they belong: at the match, in their place, below and above all."""

CURVE = 401
"""Points at most of the curve that the page's script draws."""
_STEERING = ("Cc", "Cf", "Cs", "Zl", "Zp")
"""Categories of signs that are not seen themselves."""

CAUTIONS = (
    "Towers and ladders: climb only trained, tied on all the time, and with a second person; no "
    "work aloft with a storm near. Keep everything that could fall clear of power lines.",
    "Lightning and static: earth a feed line for a moment before you connect an instrument to "
    "it, and disconnect everything when thunder is near.",
    "Never transmit into an analyzer, and keep transmitters nearby off while it is connected.",
    "A feed line radiates when current flows on its outside: choke it before you trust an "
    "antenna's sweep; touching or moving the line must not move the curve.",
    "At power, antennas and matching networks carry voltages that burn and currents that heat; "
    "switch off and make sure before you touch. Keep people away as the exposure limits of your "
    "regulator ask.",
    "These are reminders, not instructions: local codes, the regulator's limits and licensed "
    "practice come first.",
)
"""What can hurt people in this work (common practice, no source): on page and in workbook."""


def output_files(
    results: Results, say: Callable[[str], object] = lambda said: None
) -> dict[str, bytes | Iterator[bytes]]:
    """Everything that ``rfcal report`` writes, by file name; a long file in pieces.

    `say` is called with a few words before each step that takes time.
    """
    of, saved = fingerprint(results.files), dict[str, bytes | Iterator[bytes]]()
    for name, file in export.file_names(results).items():
        device = results.device(name)
        doubt = words.untrusted(results, device)
        caution = f"; NOT TO BE TRUSTED YET: {doubt}" if doubt else ""
        saved[file] = device.touchstone(f"{caution}; record {of}").encode()
    return {
        "report.html": page(results, say).encode(),
        "results.json": export.results_json(results),
        **saved,
    }


@own_settings()
def page(results: Results, say: Callable[[str], object] = lambda said: None) -> str:
    """The report page: figures, data and the record inside; it asks for nothing from outside."""
    carried = archive.script(results)  # first: it may be refused
    many = len(results.devices) > words.MOST_SHOWN
    devices = () if many else results.devices
    live = [
        _live(i, device) | {"doubt": words.untrusted(results, device)}
        for i, device in enumerate(devices, start=1)
    ]
    script = (Path(__file__).parent / "page.js").read_text(encoding="utf-8")
    curves = json.dumps(live).replace("<", "\\u003c")
    state, bad = ("", False) if results.line is None else line_verdict(results.line)
    told = partial(_told, results)
    return _template().render(
        say=say,
        results=results,
        record=results.record,
        devices=devices,
        many=results.devices if many else (),
        live=live,
        script=Markup(script),
        script_hash=f"sha256-{b64encode(sha256(script.encode()).digest()).decode()}",
        curves=Markup(curves),
        checks=[*map(words.check_line, results.checks), *map(words.reread_line, results.rereads)],
        findings=told_once(
            f for f in results.findings if f.code not in ELSEWHERE and f.message != state
        ),
        foremost=told(*FOREMOST),
        unseen=told(*UNSEEN),
        taken=told(DEFAULTS.code),
        dangers=told(MATCH_VOLTAGE.code),
        unmatched=told(MATCH_UNKNOWN.code),
        line=results.line,
        line_state=(state, bad),
        terms=error_terms(results.calibration),
        inputs=export.inputs(results),
        fingerprint=fingerprint(results.files),
        files=export.file_names(results),
        carried=Markup(carried),
    )


def _told(results: Results, *codes: str) -> list[Finding]:
    """What there is to say by some codes."""
    return [finding for finding in results.findings if finding.code in codes]


@cache
def _template() -> Any:
    """The page's own text, in which no value can become markup."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("rfcal.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=visible,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["sentence"] = lambda text: f"{text[0].upper()}{text[1:]}."
    environment.filters["largest"] = lambda values: f"{np.max(np.abs(values)):.2g}"
    environment.globals |= {"picture": _picture, "plots": plots, "match_plots": match_plots}
    environment.globals |= {"words": words, "of_part": of_part, "of_match": of_match}
    environment.globals |= {"part_figure": part_figure, "numbers": numbers, "build": build}
    environment.globals |= {"why_wrong": why_wrong, "line_lines": line_lines}
    environment.globals |= {"point_rows": point_rows, "cautions": CAUTIONS}
    return environment.get_template("report.html")


def visible(value: Any) -> Any:
    """Text with signs for what steers or hides other text: controls, directions, no-width signs."""
    if not isinstance(value, str) or isinstance(value, Markup) or value.isprintable():
        return value
    steers = {c for c in value if category(c) in _STEERING and c not in "\t\n\r"}
    return "".join(f"[U+{ord(c):04X}]" if c in steers else c for c in value)


def _live(number: int, device: Device) -> dict[str, Any]:
    """What the page's script draws of one device: its reflection, thinned, and a cable to try."""
    some = np.linspace(0, device.frequency.size - 1, min(device.frequency.size, CURVE)).astype(int)
    # a whole turn of the chart is half a wave
    longest = 0.75 * Line(0.0).wavelength_m(device.frequency[device.answer])
    return {
        "id": f"live-{number}",
        "reference": device.z_ref,
        "mhz": [float(f"{f / 1e6:.7g}") for f in device.frequency[some]],
        **_curve(device, some),
        "other": _curve(device.other, some) if device.other else None,
        "at": int(np.argmin(np.abs(some - device.answer))),
        "longest": float(f"{longest:.2g}"),
    }


def _curve(device: Device, some: NDArray[np.int_]) -> dict[str, list[float]]:
    """Its reflection at some of its points, for the page's script."""
    value = device.reflection.value[some]
    parts = {"re": value.real, "im": value.imag}
    return {name: [round(float(v), 5) for v in part] for name, part in parts.items()}


def _picture(figure: Figure, prefix: str, alt: str, caption: str) -> Markup:
    """A figure with its caption, to stand in the page."""
    drawn = Markup(svg_text(figure, alt=alt, prefix=prefix))
    below = Markup("\n<figcaption>{}</figcaption>").format(caption) if caption else ""
    return Markup("<figure>{}{}</figure>").format(drawn, below)


def point_rows(device: Device) -> list[tuple[str, ...]]:
    """The data itself, to the digits that its uncertainty supports; two answers where they are."""
    rows: list[tuple[str, ...]] = []
    for i in range(0, device.frequency.size, -(-device.frequency.size // TABLE_ROWS)):
        rows.append((f"{device.frequency[i] / 1e6:.10g}", *_cells(device, i)))
        if device.other is not None and device.two_answers[i]:
            rows.append(("or", *_cells(device.other, i)))
    return rows


def _cells(device: Device, i: int) -> tuple[str, ...]:
    """R, X and SWR at one point, in words."""
    told = (device.figures[name] for name in ("resistance", "reactance", "swr"))
    return tuple(numbers.figure_words(figure, i).removesuffix(" ohm") for figure in told)
