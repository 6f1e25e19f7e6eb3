"""Valid files in random disorder: each is read, or refused in a sentence of our own.

The mutations take their choices from a `Random`: one of a fixed seed, the same on every machine, or
hypothesis's own, which shrinks what fails.
"""

import re
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from random import Random

from rfcal.errors import SCREEN, RfcalError
from rfcal.readings.sweep import read_sweep, read_two_port
from rfcal.record.archive import carried_record
from rfcal.record.format import schema

TOKENS = [
    *("nan", "inf", "-", "1e999", "1e-320", "9" * 400, "0x", "1_0", "٣", "\0", "\r", "\n\n", "\t"),
    *("#", "# Hz S RI R 50\n", "# GHz Z MA R 75\n", "!", "R", "DB", "[", "]", "[End]\n", "END\n"),
    *("[Mixed-Mode Order] D2,1 C2,1\n", "[Reference]\n", "[Reference] 50 75\n", "[Version] 2.0\n"),
    *("[Matrix Format] Lower\n", "[Two-Port Data Order] 12_21\n", "[Number of Ports] 2\n"),
    *(
        "[Begin Information]\n",
        "[Noise Data]\n",
        ",",
        ";",
        '"',
        "'",
        '"""',
        "=",
        ".",
        "a.a.a = 1\n",
    ),
    *("[[standard]]\n", "[[measurement]]\n", "[match]\n", "[line_check]\n", "{", "}", "true"),
    *(
        "1979-05-27",
        "\u202e",
        "\x1b[31m",
        "\ud800",
        "é",
        "\\",
        "\\u0000",
        "../",
        "/etc/passwd",
        "AAAA",
    ),
]
VERSION2 = """[Version] 2.0
# MHz S RI R 50
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 2
[Reference] 50 50
[Network Data]
50 0.1 0 0.9 0.1 0.9 0.1 0.1 0
60 0.1 0 0.8 0.2 0.8 0.2 0.1 0
[End]
"""

Door = tuple[Path, bytes, Callable[[], object]]
"""A file, what is valid in it, and what reads it."""


def mutant(rng: Random, content: bytes) -> bytes:
    """The content with one to four random changes."""
    for _ in range(rng.randint(1, 4)):
        at, size = rng.randint(0, len(content)), rng.choice((1, 1, 2, 5, 20, 100))
        token = rng.choice(TOKENS).encode("utf-8", "surrogatepass")
        piece = content[at : at + size]
        elsewhere = rng.randint(0, len(content))
        content = rng.choice(
            (
                content[:at] + token + content[at:],
                content[:at] + token + content[at + size :],
                content[:at] + content[at + size :],
                content[:at] + piece * rng.choice((2, 3, 50)) + content[at + size :],
                content[:at] + rng.randbytes(len(piece)) + content[at + size :],
                content[:at],
                content[:elsewhere] + piece + content[elsewhere:],
                content[:elsewhere] + token + content[elsewhere:],
            )
        )
    return content


def doors(folder: Path, record: Path, page: str) -> list[Door]:
    """Valid files of every kind, each with the door that it goes in by."""
    shutil.copytree(record, folder / "record")
    raw = folder / "record/raw"
    kept = re.findall(
        r'<code>[0-9a-f]{64}</code>|<script type="application/json" id="record".*', page
    )
    (folder / "page.html").write_text("\n".join(kept), encoding="utf-8")
    (folder / "adapter.s2p").write_text(VERSION2)
    (folder / "old.s2p").write_text("# MHz S MA R 50\n" + "50 .1 9 .9 -9 .9 -9 .1 9 ! one\n")
    (folder / "ohms.csv").write_text("frequency_mhz,r_ohm,x_ohm\n50,12.5,-3\n51,13,-2.5\n")
    shutil.copy(raw / "device.s1p", folder / "device.s1p")
    entered: list[tuple[Path, Callable[[], object]]] = [
        (folder / "device.s1p", lambda: read_sweep(folder, "device.s1p", label="a")),
        (folder / "ohms.csv", lambda: read_sweep(folder, "ohms.csv", label="a")),
        (folder / "adapter.s2p", lambda: read_two_port(folder, "adapter.s2p", label="a")),
        (folder / "old.s2p", lambda: read_two_port(folder, "old.s2p", label="a")),
        (folder / "page.html", lambda: carried_record(folder / "page.html")),
        (folder / "record/record.toml", lambda: schema.load(folder / "record")),
    ]
    return [(path, path.read_bytes(), door) for path, door in entered]


def enter(rng: Random, entered: list[Door], tell: Callable[[str], object] = print) -> None:
    """Tell of a mutant of one of the files, and fail unless it is read, or refused as it should."""
    path, valid, door = rng.choice(entered)
    content = mutant(rng, valid)
    path.write_bytes(content)
    tell(f"{path.name}: {content!r}")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            door()
    except RfcalError as error:
        said = str(error)
        assert said.isprintable()
        assert 10 < len(said) <= SCREEN
