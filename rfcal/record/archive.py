"""A record's own files, carried inside its page and taken out again.

What is taken out is what a record needs and no more: ``record.toml`` and the files it names, under
names that every system can hold, no larger than a page may carry, and with the page's own
fingerprints.
"""

import base64
import binascii
import json
import re
import tempfile
import unicodedata
import zlib
from collections.abc import Iterable, Mapping
from hashlib import sha256
from mmap import ACCESS_READ, mmap
from pathlib import Path, PurePosixPath
from typing import Any

from rfcal.errors import RecordError
from rfcal.readings.content import require_plain
from rfcal.record.files import write_files
from rfcal.record.format.schema import FILE, MOST_RECORD_BYTES, named_files
from rfcal.record.job.compute import compute
from rfcal.record.json_text import parsed
from rfcal.record.results import Results, fingerprint

MOST_CARRIED = 256_000_000
"""Bytes of all files of one record that a page carries, before they are compressed."""

_CARRIED = re.compile(
    rb'<script type="application/json" id="record"(?: data-fingerprint="([0-9a-f]{64})")?>'
    rb"(.*?)</script>",
    re.DOTALL,
)
_HASH = re.compile(rb"<code>([0-9a-f]{64})</code>")
_DEVICES = {
    *("con", "prn", "aux", "nul", "clock$", "conin$", "conout$"),
    *(f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³"),
}
_ENDINGS = re.compile(r"(|\.(s\d+p|ts|csv|tsv|txt|dat|asc|prn|toml))", re.IGNORECASE)
"""Endings of files of readings: nothing of any other is carried, for some systems run some."""


def script(results: Results) -> str:
    """The element of a page that carries the record's own files."""
    packed, of = json.dumps(pack(results.files)), fingerprint(results.files)  # in which is no "<"
    return f'<script type="application/json" id="record" data-fingerprint="{of}">{packed}</script>'


def carried_record(file: Path, *, compare: bool = True) -> dict[str, bytes]:
    """The record that a report page carries, by relative path, if it is what the page shows."""
    try:
        require_plain(file)
        with file.open("rb") as opened, mmap(opened.fileno(), 0, access=ACCESS_READ) as page:
            match = _CARRIED.search(page)
            of, text = match.groups() if match else (None, b"")
            hashes = {found.decode() for found in _HASH.findall(page)}
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(file), "", f"cannot be read ({why})") from error
    if match is None:
        raise RecordError(str(file), "", "this page carries no record; is it a report of rfcal?")
    found = unpack(parsed(text, file, "the record inside is damaged"), str(file))
    readings = {sha256(content).hexdigest() for name, content in found.items() if name != FILE}
    own = fingerprint(found)
    # a page from before the fingerprint shows none
    fits = hashes == readings and not of if own not in hashes else of in (None, own.encode())
    if compare and (readings - hashes or not fits):
        why = "the record inside has other fingerprints than the page shows: one of the two was"
        raise RecordError(str(file), "", f"{why} changed")
    return found


def recomputed(source: Path) -> Results:
    """Compute a record: of a folder, or that a report page carries, altered or not."""
    if source.is_dir():
        return compute(source)
    with tempfile.TemporaryDirectory() as spare:
        folder = Path(spare) / "record"
        write_files(folder, carried_record(source, compare=False))
        return compute(folder)


def pack(files: Mapping[str, bytes]) -> dict[str, str]:
    """A record's files by their relative path, compressed and in base 64."""
    require_portable(files, FILE, ": rename it, so that the page can give it back anywhere")
    if sum(map(len, files.values())) > MOST_CARRIED:
        why = f"its files are more than the {MOST_CARRIED / 1e6:g} MB that a page can carry"
        raise RecordError(FILE, "", f"{why}: keep fewer points, or correct them in Python")
    return {
        name: base64.b64encode(zlib.compress(content, 6)).decode("ascii")
        for name, content in files.items()
    }


def unpack(packed: Any, file: str) -> dict[str, bytes]:
    """The record's files out of what `pack` made; `file` is where that stood, for errors."""
    packed = packed if isinstance(packed, dict) else {}
    require_portable(packed, file)
    if FILE not in packed:
        raise RecordError(file, "", f"it carries no {FILE}, so it is no report of this program")
    found = {FILE: _inflated(packed, FILE, MOST_RECORD_BYTES, file)}
    named, left = named_files(found[FILE]), MOST_CARRIED - len(found[FILE])
    for name in [name for name in packed if name != FILE]:
        if name not in named:
            raise RecordError(file, "", f"it carries a file {name!r} that its record does not name")
        found[name] = _inflated(packed, name, left, file)
        left -= len(found[name])
    return found


def _inflated(packed: Mapping[str, Any], name: str, most: int, file: str) -> bytes:
    """One file, whose size is known to be right before more than that is there."""
    inflater = zlib.decompressobj()
    try:
        content = inflater.decompress(base64.b64decode(packed[name], validate=True), most + 1)
    except (binascii.Error, zlib.error, TypeError, ValueError) as error:
        raise RecordError(file, "", f"the record inside is damaged at '{name}'") from error
    if len(content) > most:
        raise RecordError(file, "", f"'{name}' would be larger than a page can carry")
    if not inflater.eof or inflater.unused_data:
        raise RecordError(file, "", f"the record inside is damaged at '{name}'")
    return content


def require_portable(names: Iterable[str], file: str, cure: str = "") -> None:
    """Refuse names that not every system can hold as plain files beside each other."""
    seen: dict[str, str] = {}
    for name in names:
        if why := _unfit(name):
            raise RecordError(file, "", f"it carries a file {name!r} {why}{cure}")
        plain = unicodedata.normalize("NFKC", name).casefold()
        if plain in seen:
            twice = f"it carries the file '{name}' twice, as '{seen[plain]}'{cure}"
            raise RecordError(file, "", twice)
        seen[plain] = name


def _unfit(name: str) -> str:
    """Why some system cannot hold a path, or holds something else under it; empty if none."""
    path = PurePosixPath(name)
    if not name or path.is_absolute() or ".." in path.parts or "\\" in name:
        return "that leads outside a folder"
    if not name.isprintable() or set(name) & set('<>:"|?*'):
        return "with a sign in its name that not every system can hold"
    for part in name.split("/"):
        if part in ("", ".") or part != part.strip(" ").rstrip(".") or len(part.encode()) > 255:
            return "with a name that not every system can hold"
        if part.startswith("."):
            return "that is hidden"
        if part.split(".")[0].rstrip().lower() in _DEVICES:
            return "with the name of a device"
    if not _ENDINGS.fullmatch(path.suffix):
        return "of a kind that may be run, as its name does not end like that of readings"
    return ""
