"""A form for readings off a display: judged field by field, and written down as a record."""

from collections.abc import Sequence
from datetime import date
from functools import partial
from html import escape
from pathlib import Path

import ipywidgets as widgets

from rfcal.errors import RfcalError
from rfcal.record.files import write_files
from rfcal.record.format.keys import FILE
from rfcal.record.job import entries
from rfcal.record.job.entries import KINDS, SHOWS, Entry
from rfcal.record.results import Results
from rfcal.report.figures import chart, style
from rfcal.report.figures.render import png_bytes
from rfcal.report.summary import summary_lines
from rfcal.workbook.panel import Pictured, text_box, wrapping

LABEL, WIDTH = "9rem", "21rem"
BOX = f"min(98%, {WIDTH})"
_box = partial(text_box, label=LABEL, width=BOX)
HINTS = {"load": "50", "check": "such as 33"}
"""What stands in the box of a resistance before anything is typed."""


class ReadingForm(Pictured):
    """One box for each reading; what is typed is judged when its box is left."""

    def __init__(self, folder: str | Path = "../my-reading"):
        super().__init__()
        self.found: Results | None = None
        self._shows = widgets.Dropdown(
            options=list(SHOWS),
            description="the display shows",
            style={"description_width": LABEL},
            layout=widgets.Layout(width=BOX),
        )
        self._frequency = _box("frequency [MHz]", hint="14.1")
        self._name = _box("device's name", hint="device")
        self._folder = _box("record's folder", str(folder))
        self._cells = {kind: _box(kind, hint="R X") for kind in KINDS}
        self._ohms = {kind: _box(f"{kind} by ohmmeter", hint=hint) for kind, hint in HINTS.items()}
        self._said = {kind: widgets.HTML() for kind in KINDS}
        write = widgets.Button(description="Write the record")
        write.on_click(lambda _: self._write())
        judged = (*self._cells.values(), *self._ohms.values())
        for box in (self._shows, self._frequency, self._name, *judged):
            box.observe(lambda _: self.judge(), "value")
        rows: list[widgets.Widget] = [self._shows, self._frequency]
        for kind in KINDS:
            rows += [self._ohms[kind]] if kind in self._ohms else []
            rows += [self._name] if kind == "device" else []
            rows.append(widgets.HBox([self._cells[kind], self._said[kind]], layout=wrapping()))
        self.judge()
        # the answer beside the boxes, where it is seen while one types, or under them on a phone
        columns = ([*rows, self._folder, write], [self._words, self._image])
        half = widgets.Layout(flex=f"1 1 min(100%, {WIDTH})")
        boxes = [widgets.VBox(column, layout=half) for column in columns]
        self.children = (widgets.HBox(boxes, layout=wrapping()),)

    def typed(self) -> list[Entry]:
        """The readings that are there."""
        ohms = {kind: box.value.strip() for kind, box in self._ohms.items()}
        name, cells = self._name.value.strip(), self._cells.items()
        return [
            Entry(kind, box.value, ohms.get(kind, ""), name)
            for kind, box in cells
            if box.value.strip()
        ]

    def judge(self) -> None:
        """Say of each reading what it looks like, and the answer as soon as there is one."""
        shows = self._shows.value
        for box in self._cells.values():
            box.placeholder = " ".join(SHOWS[shows])
        good = [entry for entry in self.typed() if self._one(shows, entry)]
        self.found, lines = None, [self._next(good)]
        try:
            if self._frequency.value.strip():
                lines.append(entries.unit_doubt(self._frequency.value))
                self.found = entries.computed(self._frequency.value, shows, good)
        except RfcalError as error:
            lines = [str(error), *lines[1:]]
        if self.found is not None:
            said = [text for text in summary_lines(self.found)[1:] if not text.startswith("note")]
            lines = [*(said or ["The standards fit together."]), *lines]
        self.sentence = "\n".join(filter(None, lines))
        shown = escape(self.sentence).replace("\n", "<br>")
        self._words.value = f'<p aria-live="polite">{shown}</p>'
        self._image.value = _picture(shows, good, self.found)

    def _one(self, shows: str, entry: Entry) -> bool:
        """Whether one reading can be used; what is to be said of it stands beside it."""
        usable, is_check = True, entry.kind == "check"
        try:
            doubt = entries.judged(shows, entry)
            said = (entries.check_doubt(entry.ohm) if is_check and entry.ohm else "") or doubt
        except RfcalError as error:
            said, usable = str(error), False
        if is_check and not entry.ohm:
            said, usable = "type its ohms above first", False
        self._said[entry.kind].value = escape(said or "good")
        return usable

    def _next(self, good: Sequence[Entry]) -> str:
        """What to do before there is an answer."""
        there = {entry.kind for entry in good}
        left = [kind for kind in ("short", "open", "load", "device") if kind not in there]
        if not self._frequency.value.strip():
            return "Type the frequency, then what the display shows of each."
        return f"Still to be read: {', '.join(left)}." if left else ""

    def _write(self) -> None:
        """Write the record, or say why not."""
        folder = Path(self._folder.value.strip() or "")
        try:
            if self.found is None or not self.found.devices:
                said = f"Nothing was written. {self._next(self.typed())}"
            elif not self._folder.value.strip():
                said = "Nothing was written: name a folder for the record."
            else:
                typed = self._frequency.value, self._shows.value, self.typed()
                text = entries.record_text(*typed, folder.name, date.today())
                write_files(folder, {FILE: text.encode()})
                said = f"Wrote {folder / FILE}; now: rfcal report {folder} --output {folder}-report"
        except RfcalError as error:
            said = str(error)
        self._words.value += f'<p role="alert"><b>{escape(said)}</b></p>'


def _picture(shows: str, good: Sequence[Entry], found: Results | None) -> bytes:
    """The raw readings on the chart, as far as R and X are shown, and the device's answer."""
    figure = style.new_figure(4.2, 4.2)
    ax = chart.draw_grid(figure.add_subplot())
    label: str | None = "raw readings"
    for entry in good:
        point = entries.reflection(shows, entry)
        if point is not None:
            chart.draw_trace(ax, point, role="raw", label=label, marks={0: entry.kind})
            label = None
    for device in found.devices if found else ():
        label = f"{device.name}, corrected"
        chart.draw_trace(ax, device.reflection.value, role="corrected", label=label)
    style.add_legend(figure, ax)
    return png_bytes(figure)
