"""A form for readings off a display: judged field by field, and written down as a record."""

from datetime import date
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from rfcal import defaults
from rfcal.errors import RfcalError
from rfcal.record.files import report_command, write_files
from rfcal.record.format.keys import FILE
from rfcal.record.job import begin
from rfcal.record.job.begin import DIALOG_STEPS, SHOWS, TO_READ, Said
from rfcal.record.results import Results
from rfcal.report.figures import chart, style
from rfcal.report.figures.device import answer_traces
from rfcal.report.figures.render import png_bytes
from rfcal.report.summary import summary_lines
from rfcal.workbook.panel import Pictured, text_box, wrapping

LABEL, WIDTH = "9rem", "21rem"
BOX = f"min(98%, {WIDTH})"
_box = partial(text_box, label=LABEL, width=BOX)
NAMES = {"frequency": "frequency [MHz]", "name": "device's name"}
NAMES |= {f"{kind} ohm": f"{kind} by ohmmeter" for kind in ("load", "check")}
HINTS = {"frequency": "14.1", "name": "device", "check ohm": "such as 33"}
HINTS["load ohm"] = f"{defaults.LOAD_OHM:g}"
"""What stands beside a box and, before anything is typed, in it; R and X else."""


class ReadingForm(Pictured):
    """One box for each reading; what is typed is judged when its box is left."""

    def __init__(self, folder: str | Path = "../my-reading"):
        super().__init__()
        self.found: Results | None = None
        self._boxes: dict[str, widgets.Widget] = {
            "shows": widgets.Dropdown(
                options=list(SHOWS),
                description="the display shows",
                style={"description_width": LABEL},
                layout=widgets.Layout(width=BOX),
            )
        }
        for step in DIALOG_STEPS:
            if step != "shows":
                self._boxes[step] = _box(NAMES.get(step, step), hint=HINTS.get(step, "R X"))
        self._folder = _box("record's folder", str(folder))
        self._said = {kind: widgets.HTML() for kind in TO_READ}
        write = widgets.Button(description="Write the record")
        write.on_click(lambda _: self._write())
        rows: list[widgets.Widget] = []
        for step, box in self._boxes.items():
            box.observe(lambda _: self.judge(), "value")
            beside = [self._said[step]] if step in TO_READ else []
            rows.append(widgets.HBox([box, *beside], layout=wrapping()) if beside else box)
        self.judge()
        # the answer beside the boxes, where it is seen while one types, or under them on a phone
        columns = ([*rows, self._folder, write], [self._words, self._image])
        half = widgets.Layout(flex=f"1 1 min(100%, {WIDTH})")
        boxes = [widgets.VBox(column, layout=half) for column in columns]
        self.children = (widgets.HBox(boxes, layout=wrapping()),)

    def typed(self) -> dict[str, str]:
        """What is there, by its step."""
        return {step: box.value.strip() for step, box in self._boxes.items()}

    def judge(self) -> None:
        """Say of each reading what it looks like, and the answer as soon as there is one."""
        said = self.typed()
        for kind in TO_READ:
            self._boxes[kind].placeholder = " ".join(SHOWS[said["shows"]])
        good = {s: text for s, text in said.items() if s not in TO_READ or self._one(s, said)}
        self.found, lines = None, [_next(good)]
        try:
            if good["frequency"]:
                lines.append(begin.doubt("frequency", good))
                self.found = begin.computed(good)
        except RfcalError as error:
            lines = [str(error), *lines[1:]]
        if self.found is not None:
            told = [text for text in summary_lines(self.found)[1:] if not text.startswith("note")]
            lines = [*(told or ["The standards fit together."]), *lines]
        self.sentence = "\n".join(filter(None, lines))
        shown = escape(self.sentence).replace("\n", "<br>")
        self._words.value = self._shown = f'<p aria-live="polite">{shown}</p>'
        self._image.value = _picture(good, self.found)

    def _one(self, kind: str, said: Said) -> bool:
        """Whether one reading can be used; what is to be said of it stands beside it."""
        told, usable = "", bool(said[kind])
        try:
            steps = filter(said.get, (f"{kind} ohm", kind))
            told = next(filter(None, (begin.doubt(step, said) for step in steps)), "")
        except RfcalError as error:
            told, usable = str(error), False
        if kind == "check" and said[kind] and not said["check ohm"]:
            told, usable = "type its ohms above first", False
        self._said[kind].value = escape(told or "taken" * usable)
        return usable

    def _write(self) -> None:
        """Write the record, or say why not."""
        said = self.typed()
        folder = Path(self._folder.value.strip() or "")
        try:
            if self.found is None or not self.found.devices:
                told = f"Nothing was written. {_next(said)}"
            elif not self._folder.value.strip():
                told = "Nothing was written: name a folder for the record."
            else:
                text = begin.record_text(said, folder.name, date.today())
                write_files(folder, {FILE: text.encode()})
                now = report_command(folder, stands="..")  # notebooks are run in their own folder
                told = f"Wrote {folder / FILE}; now, in a terminal in the clone's folder: {now}"
        except RfcalError as error:
            told = str(error)
        self._words.value = f'{self._shown}<p role="alert"><b>{escape(told)}</b></p>'


def _next(said: Said) -> str:
    """What to do before there is an answer."""
    left = [kind for kind in ("short", "open", "load", "device") if not said.get(kind)]
    if not said["frequency"]:
        return "Type the frequency, then what the display shows of each."
    return f"Still to be read: {', '.join(left)}." if left else ""


def _picture(good: Said, found: Results | None) -> bytes:
    """The raw readings on the chart, as far as R and X are shown, and the device's answer."""
    figure = style.new_figure(4.2, 4.2)
    ax = chart.draw_grid(figure.add_subplot())
    raw: list[tuple[str, Any]]
    raw = [(kind, begin.reflection(kind, good)) for kind in filter(good.get, TO_READ)]
    told = [one for device in found.devices for one in answer_traces(device)] if found else []
    if found and all(point is None for _, point in raw):
        raw = [(one.name, one.reading.reflection) for one in found.bench.standards]
        raw += [("device", one.raw.reflection) for one, *_ in told]
    for kind, point in raw:
        if point is not None:
            chart.draw_trace(ax, point, role="raw", label="raw readings", marks={0: kind})
    for one, role, label, there in told:
        chart.draw_trace(ax, one.reflection.value[there], role=role, label=label)
    style.add_legend(figure)
    return png_bytes(figure)
