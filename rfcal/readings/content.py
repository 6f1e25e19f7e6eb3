"""What stands in a file, whole: no pipe, no device, no more than there can be sense in."""

import errno
import os
import stat
from pathlib import Path

MOST_BYTES = 400_000_000
"""A file of readings: two million points of a two-port with all their digits."""


def whole_file(path: Path, most: int = MOST_BYTES) -> bytes:
    """The content of a plain file of up to so many bytes; an OSError says why not."""
    size = require_plain(path)
    with path.open("rb") as file:
        content = file.read(most + 1) if size <= most else b""
    if max(size, len(content)) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most / 1e6:g} MB")
    return content


def require_plain(path: Path) -> int:
    """The size of a plain file, before it is opened: a pipe would wait for somebody who writes."""
    found = os.stat(path)
    if not stat.S_ISREG(found.st_mode) and not stat.S_ISDIR(found.st_mode):
        raise OSError(errno.EINVAL, "this is no plain file, but a pipe or a device")
    return found.st_size


def decoded(content: bytes) -> str:
    """Text of a file: UTF-16 by its mark, else UTF-8, else Latin-1, which reads anything."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")
