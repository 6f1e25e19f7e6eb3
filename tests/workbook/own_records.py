"""Seven small records of different make, from the demos: what readers bring to the notebooks."""

import re
import shutil
from pathlib import Path

from rfcal.record.format.start import starting_record

DEMO = Path(__file__).parents[2] / "data" / "demo"
CORRECTED = """format = 1
[record]
title = "corrects itself"
date = 2026-05-16
[analyzer]
residual_directivity = 0.01
residual_source_match = 0.01
residual_tracking = 0.01
[[measurement]]
name = "device"
typed = [[14.2, 30.0, -20.0]]
"""
MATCH = '[match]\nmeasurement = "antenna"\nfrequency_mhz = 70.2\ntopologies = ["L"]\n'
TYPED_MATCH = '[match]\nmeasurement = "device"\nfrequency_mhz = 14.2\ntopologies = ["L"]\n'
CABLE = '[[measurement.between]]\nline = "RG-213"\nlength_m = 0.5\n'


def _demo(folder: Path, name: str, *without: str, more: str = "") -> None:
    """A quarter of a demo's points, and its record without some tables, with more at its end."""
    shutil.copytree(DEMO / name, folder)
    for path in folder.glob("raw/*.s1p"):
        lines = path.read_text().splitlines(keepends=True)
        head = [line for line in lines if line[0] in "!#"]
        path.write_text("".join(head + lines[len(head) :: 4]))
    (folder / "truth.json").unlink(missing_ok=True)
    tables = re.split(r"(?m)^(?=\[)", (folder / "record.toml").read_text())
    kept = [table for table in tables if not table.startswith(without or ("none",))]
    (folder / "record.toml").write_text(
        re.sub(r"(?m)^purpose = .*$", "", "".join(kept)) + "\n" + more
    )


def _text(folder: Path, text: str) -> None:
    folder.mkdir()
    (folder / "record.toml").write_text(text)


NOT_LAST = ("[[check]]", "[[reread]]", "[[measurement]]", "[line_check]", "[match]", "[[match]]")
ANTENNA = '[[measurement]]\nname = "antenna"\nreading = "raw/antenna.s1p"\n'

MAKE = {
    "typed": lambda folder: _text(folder, starting_record()),
    "no check": lambda folder: _demo(folder, "beacon-antenna", *NOT_LAST, more=ANTENNA),
    "path by type": lambda folder: _demo(folder, "beacon-antenna", *NOT_LAST, more=ANTENNA + CABLE),
    "far ends measured": lambda folder: _demo(folder, "tower-line", "[line_check]", "[[check]]"),
    "line check only": lambda folder: _demo(folder, "tower-line", "[[measurement]]", "[[check]]"),
    "corrects itself": lambda folder: _text(folder, CORRECTED + TYPED_MATCH),
    "nothing needed": lambda folder: _text(
        folder, CORRECTED.replace("30.0, -20.0", "51.0, 1.0") + TYPED_MATCH
    ),
    "with match": lambda folder: _demo(folder, "beacon-antenna", *NOT_LAST, more=ANTENNA + MATCH),
}
"""What writes each record into a folder that is not there yet, by what it is."""

AT_ONE = {"typed", "corrects itself", "nothing needed"}
"""Which of them are read at one frequency."""

LINE = {"line", "far ends", "baseline"}
PLAIN = {*LINE, "between", "match", "network", "parts"}
LACKS = {
    "typed": PLAIN,
    "no check": PLAIN,
    "path by type": PLAIN - {"between"},
    "far ends measured": PLAIN - {"between"},
    "line check only": {"device", "between", "match", "network", "parts"},
    "corrects itself": {*LINE, "between", "standards", "parts"},
    "nothing needed": {*LINE, "between", "standards", "network", "parts"},
    "with match": {*LINE, "between", "parts"},
}
"""What each of them has not, by the names of what a part of a notebook needs."""
