"""A record's own files, carried inside its page and taken out again."""

import base64
import binascii
import json
import re
import tempfile
import zlib
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from rfcal.errors import RecordError
from rfcal.record.files import write_files
from rfcal.record.format.schema import FILE
from rfcal.record.job.compute import compute
from rfcal.record.results import Results

_CARRIED = re.compile(r'<script type="application/json" id="record">(.*?)</script>', re.DOTALL)


def script(results: Results) -> str:
    """The element of a page that carries the record's own files."""
    # "<" never appears inside, so the element cannot be closed early
    packed = json.dumps(pack(results)).replace("<", "\\u003c")
    return f'<script type="application/json" id="record">{packed}</script>'


def carried_record(file: Path) -> dict[str, bytes]:
    """The record that a report page carries, by relative path."""
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(file), "", f"cannot be read ({why})") from error
    match = _CARRIED.search(text)
    if match is None:
        raise RecordError(str(file), "", "this page carries no record; is it a report of rfcal?")
    try:
        packed = json.loads(match[1])
    except (ValueError, RecursionError) as error:
        raise RecordError(str(file), "", "the record inside is damaged") from error
    if not isinstance(packed, dict):
        raise RecordError(str(file), "", "the record inside is damaged")
    return unpack(packed, str(file))


def recomputed(page_file: str | Path) -> Results:
    """Compute again the record that a report page carries, from its own copies of the readings."""
    with tempfile.TemporaryDirectory() as spare:
        folder = Path(spare) / "record"
        write_files(folder, carried_record(Path(page_file)))
        return compute(folder)


def pack(results: Results) -> dict[str, str]:
    """The record's own files by their relative path, compressed and in base 64."""
    files = {FILE: results.record.content}
    for sweep in results.sweeps:
        if sweep.origin is not None:
            files[str(PurePosixPath(sweep.origin.file))] = sweep.origin.content
    return {
        name: base64.b64encode(zlib.compress(content, 6)).decode("ascii")
        for name, content in files.items()
    }


def unpack(packed: Mapping[str, Any], file: str) -> dict[str, bytes]:
    """The record's files out of what `pack` made; `file` is where that stood, for errors."""
    found: dict[PurePosixPath, bytes] = {}
    for name, content in packed.items():
        path = PurePosixPath(name)
        if not path.parts or path.is_absolute() or ".." in path.parts or not _is_plain(name):
            raise RecordError(file, "", f"it carries a file {name!r} that leads outside a folder")
        if path in found:
            raise RecordError(file, "", f"it carries the file '{path}' twice")
        try:
            found[path] = zlib.decompress(base64.b64decode(content, validate=True))
        except (binascii.Error, zlib.error, TypeError, ValueError) as error:
            raise RecordError(file, "", f"the record inside is damaged at '{path}'") from error
    for path in found:
        if clash := next((p for p in path.parents if p in found), None):
            raise RecordError(file, "", f"it carries '{clash}' both as a file and as a folder")
    if PurePosixPath(FILE) not in found:
        raise RecordError(file, "", f"it carries no {FILE}, so it is no report of this program")
    return {str(path): content for path, content in found.items()}


def _is_plain(name: str) -> bool:
    """Whether a path can stand in any file system: no backslash, no NUL, nothing but Unicode."""
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return not set(name) & {"\\", "\0"}
