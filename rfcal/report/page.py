"""One self-contained page: what was measured, the answer, how sure, and the record itself."""

import json
from base64 import b64encode
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any
from unicodedata import category

import numpy as np
from markupsafe import Markup
from matplotlib.figure import Figure

from rfcal.maths.reflection import Real
from rfcal.models.line import Line
from rfcal.record import archive, export
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.findings.catalogue.line import LINE_FAULT
from rfcal.record.findings.catalogue.match import MATCH_VOLTAGE
from rfcal.record.findings.line import line_verdict
from rfcal.record.findings.match import why_wrong
from rfcal.record.results import (
    Device,
    LineState,
    MatchResult,
    Part,
    Proposal,
    Results,
    error_terms,
    fingerprint,
    own_files,
)
from rfcal.report.cautions import CAUTIONS
from rfcal.report.figures import device as plots
from rfcal.report.figures import match as match_plots
from rfcal.report.figures.components import part_figure
from rfcal.report.figures.render import svg_text
from rfcal.report.figures.style import own_settings
from rfcal.report.text import device as words
from rfcal.report.text.build import TOLD, build_lines
from rfcal.report.text.components import besides, equivalent_rows, part_kind, part_words, value_rows
from rfcal.report.text.line import line_lines
from rfcal.report.text.match import (
    match_above,
    match_after,
    match_first,
    match_head,
    match_parts,
    match_remarks,
    match_row,
    match_where,
    sets_none,
)
from rfcal.uncertainty import words as numbers

TABLE_ROWS = 2001
"""Rows of the page's table; a longer sweep is thinned, its Touchstone file holds it whole."""

TOLD_ELSEWHERE = (MATCH_VOLTAGE.code, LINE_FAULT.code)
"""Findings that stand where they belong: at the match, and as the line's state."""

TOLD_SHARE = 0.005
"""Of a variance, from which a source has a line."""

CURVE = 401
"""Points at most of the curve that the page's script draws."""
_STEERING = ("Cc", "Cf", "Cs", "Zl", "Zp")
"""Categories of signs that are not seen themselves."""


def output_files(
    results: Results, say: Callable[[str], object] = lambda said: None
) -> dict[str, bytes | Iterator[bytes]]:
    """Everything that ``rfcal report`` writes, by file name; a long file in pieces.

    `say` is called with a few words before each step that takes time.
    """
    of = fingerprint(own_files(results))
    return {
        "report.html": page(results, say).encode(),
        "results.json": export.results_json(results),
        **{
            name: export.touchstone(results.device(device), of).encode()
            for device, name in export.file_names(results).items()
        },
    }


@own_settings()
def page(results: Results, say: Callable[[str], object] = lambda said: None) -> str:
    """The report page: figures, data and the record inside; it asks for nothing from outside."""
    carried = archive.script(results)  # first: it may be refused
    devices, many = [], len(results.devices) > words.MOST_SHOWN
    for i, device in enumerate(() if many else results.devices, start=1):
        say(f"figures and tables of '{device.name}'")
        devices.append(_device(i, device, results))
    script = (Path(__file__).parent / "page.js").read_text(encoding="utf-8")
    curves = json.dumps([device["live"] for device in devices]).replace("<", "\\u003c")
    return _template().render(
        record=results.record,
        devices=devices,
        answers=[_answered(device, results) for device in results.devices if many],
        script=Markup(script),
        script_hash=f"sha256-{b64encode(sha256(script.encode()).digest()).decode()}",
        curves=Markup(curves),
        checks=[words.check_line(check) for check in results.checks],
        rereads=[words.reread_line(reread) for reread in results.rereads],
        findings=[f for f in results.findings if f.code not in (*TOLD_ELSEWHERE, *UNSEEN)],
        unseen=[f for f in results.findings if f.code in UNSEEN],
        dangers=[f for f in results.findings if f.code == MATCH_VOLTAGE.code],
        parts=[_part(i, part) for i, part in enumerate(results.parts, start=1)],
        line=[] if results.line is None else line_lines(results.line)[1:],
        line_state=("", False) if results.line is None else line_verdict(results.line),
        line_picture="" if results.line is None else _line_picture(results.line),
        matches=[_match(i, found) for i, found in enumerate(results.matches, start=1)],
        standards=_standards(results),
        error_terms="" if results.record.residual else _error_terms(results),
        inputs=export.inputs(results),
        fingerprint=fingerprint(own_files(results)),
        software=results.software,
        cautions=CAUTIONS,
        monte_carlo=words.MONTE_CARLO,
        files=export.file_names(results),
        carried=Markup(carried),
    )


def _template() -> Any:
    """The page's own text, in which no value can become markup."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("rfcal.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["sentence"] = lambda text: f"{text[0].upper()}{text[1:]}."
    return environment.get_template("report.html")


def shown(value: Any) -> Any:
    """Text with signs for what steers or hides other text: controls, directions, no-width signs."""
    if not isinstance(value, str) or isinstance(value, Markup) or value.isprintable():
        return value
    return "".join(
        f"[U+{ord(c):04X}]" if category(c) in _STEERING and c not in "\t\n\r" else c for c in value
    )


def _device(number: int, device: Device, results: Results) -> dict[str, Any]:
    """What the page shows of one device."""
    answer = words.answer(device)
    shares = ((source, *share[device.answer]) for source, share in device.budget.items())
    budget = sorted(shares, key=lambda row: -max(row[1:]))
    return {
        "answer": answer,
        "other": words.other_answer(device),
        "plane": device.plane,
        "pictures": _device_pictures(number, device, answer),
        "sensitivity": words.sensitivity(results, device),
        "budget": [(s, f"{r:.1%}", f"{x:.1%}") for s, r, x in budget if max(r, x) >= TOLD_SHARE],
        "rows": _rows(device),
        "shown": len(_shown(device)),
        "figures": words.figure_rows(device),
        "method": words.method_words(device),
        "doubt": why_wrong(results.findings, device.name),
        "points": device.frequency.size,
        "live": _live(number, device),
    }


def _answered(device: Device, results: Results) -> dict[str, Any]:
    """One of many devices: what it is, or may be, and whether that is to be trusted."""
    told = [words.answer(device), *filter(None, [words.other_answer(device)])]
    doubt = why_wrong(results.findings, device.name)
    return {"told": told, "plane": device.plane, "doubt": doubt}


def _live(number: int, device: Device) -> dict[str, Any]:
    """What the page's script draws of one device: its reflection, thinned, and a cable to try."""
    some = np.linspace(0, device.frequency.size - 1, min(device.frequency.size, CURVE)).astype(int)
    value = device.reflection.value[some]
    # a whole turn of the chart is half a wave
    longest = 0.75 * Line(0.0).wavelength_m(device.frequency[device.answer])
    return {
        "id": f"live-{number}",
        "reference": device.z_ref,
        "mhz": [float(f"{f / 1e6:.7g}") for f in device.frequency[some]],
        "re": [round(float(v), 5) for v in value.real],
        "im": [round(float(v), 5) for v in value.imag],
        "at": int(np.argmin(np.abs(some - device.answer))),
        "longest": float(f"{longest:.2g}"),
    }


def _part(number: int, part: Part) -> dict[str, Any]:
    """What the page shows of one part."""
    name, answer = part.request.measurement, part_words(part)
    at, rows = equivalent_rows(part)
    picture = _picture(
        part_figure(part),
        f"part-{number}",
        f"Impedance of {name} over frequency with its fit. {answer}.",
        "Above, the size of impedance, measured and fitted; below, what the fit leaves of the "
        "reflection, the band being the 95 % interval of one axis." * (number == 1),
    )
    kind = f"{name}{part_kind(part)}"
    values, told = value_rows(part), part.verdict.chosen is not None
    return {
        "name": name,
        "kind": kind,
        "answer": answer,
        "besides": besides(part),
        "told": told,
        "fitted": values,
        "at": at,
        "rows": rows,
        "picture": picture,
    }


def _device_pictures(number: int, device: Device, answer: dict[str, str]) -> list[Markup]:
    """The figures of one device."""
    name, at = answer["name"], answer["at"]
    alt = f"{name} at {at}: {answer['impedance']}, SWR {answer['swr']}."
    z, ends = device.impedance.value, device.interval
    gaps = not np.isfinite(ends).all() or bool(np.any(z.real < ends[:, 0, 0]))
    return [
        _picture(
            plots.device_chart(device),
            f"chart-{number}",
            f"Reflection chart. {alt}",
            f"Reflection of {name}, raw and corrected."
            + f" The centre of the chart is {device.z_ref:g} ohm; the ellipse is the 95 % region "
            f"of both parts together at {at}, drawn once more and enlarged where it hides under "
            "its mark; dashed outlines are those of other frequencies where the linear answer "
            "fails." * (number == 1),
        ),
        _picture(
            plots.device_bands(device),
            f"bands-{number}",
            f"R and X over frequency with their 95 % intervals. {alt}",
            "Resistance and reactance over frequency."
            + f" The band is the 95 % interval of each by itself, and the mark is at {at}."
            * (number == 1)
            + " Where the curve is missing, no more is known than the band." * gaps,
        ),
    ]


def _picture(figure: Figure, prefix: str, alt: str, caption: str) -> Markup:
    """A figure with its caption, to stand in the page."""
    drawn = Markup(svg_text(figure, alt=alt, prefix=prefix))
    below = Markup("\n<figcaption>{}</figcaption>").format(caption) if caption else ""
    return Markup("<figure>{}{}</figure>").format(drawn, below)


def _rows(device: Device) -> list[tuple[str, ...]]:
    """The data itself, to the digits that its uncertainty supports; two answers where they are."""
    rows: list[tuple[str, ...]] = []
    for i in _shown(device):
        rows.append((f"{device.frequency[i] / 1e6:.10g}", *_cells(device, i)))
        if device.other is not None and device.two_answers[i]:
            rows.append(("or", *_cells(device.other, i)))
    return rows


def _shown(device: Device) -> range:
    """The points of the page's table."""
    return range(0, device.frequency.size, -(-device.frequency.size // TABLE_ROWS))


def _cells(device: Device, i: int) -> tuple[str, str, str]:
    """R, X and SWR at one point, in words."""
    z, swr, ends = device.impedance.value[i], device.figures["swr"], device.interval[i]
    return (
        numbers.value_words(z.real, *ends[0], least=0.0),
        numbers.value_words(z.imag, *ends[1]),
        numbers.swr_interval(swr.value[i], swr.low[i], swr.high[i]),
    )


def _standards(results: Results) -> list[tuple[str, str, str]]:
    """Name, definition in words and largest residual of each standard."""
    residual: Real = np.max(np.abs(results.calibration.residuals()), axis=1)
    exact = len(residual) == 3
    return [
        (
            item.name,
            words.definition(item),
            "three standards fix the terms exactly" if exact else f"{residual[i]:.2g}",
        )
        for i, item in enumerate(results.record.standards)
    ]


def _error_terms(results: Results) -> Markup:
    calibration = results.calibration
    terms = error_terms(calibration)
    size = {name: float(np.max(np.abs(value))) for name, value in terms.items()}
    return _picture(
        plots.error_terms_figure(calibration.frequency, *terms.values()),
        "error-terms",
        f"Error terms over frequency: directivity up to {size['directivity']:.2g}, source match "
        f"up to {size['source_match']:.2g}, reflection tracking up to "
        f"{size['reflection_tracking']:.2g}.",
        "The three error terms that were removed. They hold for this analyzer, these leads and "
        "this range only.",
    )


def _match(number: int, result: MatchResult) -> dict[str, Any]:
    """What the page shows of one match table."""
    request = result.request
    drawn = enumerate(result.proposals[:TOLD], start=1)
    return {
        "measurement": request.measurement,
        "where": match_where(result),
        "power": f"{request.power_w:g}",
        "tolerance": f"{request.tolerance:.0%}",
        "head": match_head(result),
        "doubted": bool(result.doubt),
        "first": match_first(result),
        "rows": [
            {
                **match_row(p, result.limit, doubted=bool(result.doubt)),
                "above": match_above(result, i),
            }
            for i, p in enumerate(result.proposals)
        ],
        "limited": not sets_none(result.limit),
        "remarks": match_remarks(result),
        "after": match_after(result),
        "built": _built(number, result),
        "networks": [_network(number, i, result, p) for i, p in drawn],
    }


def _built(number: int, result: MatchResult) -> Markup | None:
    """The figure of what was built."""
    if result.after is None:
        return None
    return _picture(
        match_plots.built_figure(result),
        f"built-{number}",
        "; ".join(match_after(result)),
        "SWR of what was built against what was promised, the band shaded.",
    )


def _network(number: int, i: int, result: MatchResult, proposal: Proposal) -> dict[str, Any]:
    """What the page shows of one network."""
    said = match_row(proposal)
    picture = _picture(
        match_plots.proposal_figure(result, proposal),
        f"match-{number}-{i}",
        f"{said['network']}: {said['parts']}; worst SWR {said['swr']} in the band.",
        "Above, the network; below left, the walk from the load through its parts at "
        f"{numbers.mhz(result.request.centre_hz)}; right, the SWR without it, with ideal parts "
        "and with parts that exist, the band shaded." * (i == 1),
    )
    return {
        "title": said["network"],
        "picture": picture,
        "parts": match_parts(proposal),
        "build": build_lines(result, proposal),
    }


def _line_picture(line: LineState) -> Markup:
    places = ", ".join(f"{place:.2f} m" for place in line.now.distance_m)
    return _picture(
        plots.line_figure(line),
        "line",
        f"Size of reflection over distance; peaks at {places}.",
        "What reflects at which distance from the standards' plane, the line's loss made good "
        "where it is known. Distances go with the velocity factor; kinds are those of one uniform "
        "line, and a fault hides part of what lies beyond it.",
    )
