"""Make this folder's raw sweeps, expected answers and notice from the archive they came in.

    python tabulate.py PATH/TO/edges_cal-7.1.1

The argument is the unpacked source archive of the Python package edges-cal 7.1.1. The raw files
keep their data digits, tabs, line ends and frame (BEGIN, a data block with its length, END);
the instrument's comments are replaced by one of ours. Running it again gives the same bytes.
`record.toml` is written by hand.
"""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
RAW = "tests/data/edges3-data-for-alan-comparison/2022_319_14_{}.s1p"
ANSWER = "tests/data/edges3-2022-316-alan/s11{}.csv"
STANDARDS = {"O": "standard_open", "S": "standard_short", "L": "standard_load"}
DEVICES = {
    "ant": "antenna",
    "amb": "ambient_load",
    "hot": "hot_load",
    "open": "open_cable",
    "short": "shorted_cable",
}
NOTICE = """\
raw/*.s1p and expected.csv are tabulated by tabulate.py from test data of the Python package
edges-cal, version 7.1.1, under the licence below:
  raw sweeps       {raw}
  their answers    {answer}
Instrument comments were taken out of the raw files; no digit of the data was changed.

"""


def raw_file(archive: Path, name: str, label: str) -> bytes:
    """A raw sweep in its own frame, with our comment in place of the instrument's."""
    lines = (archive / RAW.format(name)).read_bytes().splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if line.startswith(b"# "))
    data = lines[start : lines.index(b"\n", start)]
    block = f"!raw sweep, {label}\r\n".encode() + b"".join(data)
    # an IEEE 488.2 definite-length block: '#', the number of digits, the length
    length = str(len(block))
    return f"BEGIN\n#{len(length)}{length}".encode() + block + b"\nEND\n"


def columns(path: Path) -> list[list[str]]:
    """The three columns of a published answer, as printed."""
    lines = path.read_text().split()
    rows = [line.split(",") for line in lines if line not in ("BEGIN", "END")]
    return [list(column) for column in zip(*rows, strict=True)]


def main(archive: Path) -> None:
    """Write the folder."""
    (HERE / "raw").mkdir(exist_ok=True)
    for name, label in {**STANDARDS, **DEVICES}.items():
        content = raw_file(archive, name, label.replace("_", " "))
        (HERE / "raw" / f"{label}.s1p").write_bytes(content)
    frequency = [row.split()[0] for row in content.decode().splitlines() if row[:1].isdigit()]
    table = {"frequency_hz": frequency}
    for name, label in DEVICES.items():
        mhz, table[f"{label}_re"], table[f"{label}_im"] = columns(archive / ANSWER.format(name))
        np.testing.assert_allclose(np.array(mhz, float) * 1e6, np.array(frequency, float), 1e-14)
    rows = [",".join(row) for row in (table, *zip(*table.values(), strict=True))]
    (HERE / "expected.csv").write_text("\n".join(rows) + "\n", newline="\n")
    head = NOTICE.format(
        raw=RAW.format("{O,S,L,ant,amb,hot,open,short}"),
        answer=ANSWER.format("{ant,amb,hot,open,short}"),
    )
    licence = (archive / "LICENSE.txt").read_text()
    (HERE / "NOTICE.txt").write_text(head + licence, newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
