"""Writing to disk: a whole set of files or none, whatever stops it, and nothing unasked.

A set is written aside, in the folder `ASIDE` beside where it will stand. The name `READY` is the
mark that it is whole: before it a stop leaves nothing, after it the next run finishes the set. At
every moment each file of a whole set stands in `READY` or in its place.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO

from rfcal.errors import RecordError

ASIDE, READY, NEW, OLD, LOCK = ".rfcal-writing", "ready", "new", "old", "lock"
GONE = "gone"
"""What of an earlier set a whole one takes away."""
MOST_HEAD = 4_000_000
"""Bytes of results.json within which it says what is of its set."""
_SET = re.compile(rb'^"record": .*"fingerprint": "([0-9a-f]{64})", "files": (.*)', re.MULTILINE)
_FILE = re.compile(rb'"([a-z0-9-]+\.s1p)"')


def write_files(
    folder: Path,
    files: Mapping[str, bytes | Iterable[bytes]],
    *,
    force: bool = False,
    cure: str = "choose another folder",
    earlier: Callable[[Path], Iterable[str]] = lambda folder: (),
) -> list[str]:
    """Write files by relative path, all or none; with `force` over those of the same names.

    `cure` says what to do where a file is there already, `earlier` which files in the folder are
    of an earlier set: those that are not written again are taken away, and given back by name.
    """
    made: list[Path] = []
    try:
        _make(folder, made)
        with _alone(folder) as aside:
            _finish_what_was_stopped(folder, aside)
            for name in files:
                require_place(folder, name, "" if force else cure)
            gone = [name for name in earlier(folder) if name not in files]
            for name, content in files.items():
                (aside / NEW / name).parent.mkdir(parents=True, exist_ok=True)
                with (aside / NEW / name).open("wb") as file:
                    file.writelines([content] if isinstance(content, bytes) else content)
            (aside / GONE).write_text("\n".join(gone), encoding="utf-8")
            _swap_in(folder, aside, list(files), gone, made)
            return gone
    except BaseException as error:
        for path in reversed(made):
            if path.exists() and not any(path.iterdir()):
                path.rmdir()
        if not isinstance(error, OSError | ValueError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(folder), "", f"cannot be written to ({why})") from error


@contextmanager
def _alone(folder: Path) -> Iterator[Path]:
    """The folder to write aside in, with a lock that falls when its holder ends in any way."""
    aside = folder / ASIDE
    for path, ours in ((aside, Path.is_dir), (aside / LOCK, Path.is_file)):
        if path.is_symlink() or (path.exists() and not ours(path)):
            raise RecordError(str(path), "", "rfcal did not make this: delete it")
    aside.mkdir(exist_ok=True)
    with ExitStack() as held:
        try:
            lock = held.enter_context((aside / LOCK).open("ab"))
            _take(lock)
            alone = os.path.samestat(os.fstat(lock.fileno()), os.stat(aside / LOCK))
        except (BlockingIOError, PermissionError, FileNotFoundError):  # at work, or just gone
            alone = False
        if not alone:
            raise RecordError(
                str(folder), "", "another run is writing to this folder: wait until it has ended"
            )
        try:
            yield aside
        finally:
            if not (aside / READY).exists():
                try:
                    shutil.rmtree(aside, ignore_errors=True)  # what stays, the next run removes
                finally:  # should Ctrl-C have stopped that
                    shutil.rmtree(aside, ignore_errors=True)


def _take(lock: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _finish_what_was_stopped(folder: Path, aside: Path) -> None:
    """Put in its place what is left of a whole set; throw away one that never became whole."""
    ready = aside / READY
    left = [path for path in ready.rglob("*") if not path.is_dir() or path.is_symlink()]
    names = [str(path.relative_to(ready)) for path in left]
    if ready.exists() and (aside / GONE).is_file():
        names += (aside / GONE).read_text(encoding="utf-8").splitlines()
    for name in names:
        require_place(folder, name)
    _move(folder, ready, aside / OLD, names, [])
    for rest in (READY, NEW, OLD):
        shutil.rmtree(aside / rest, ignore_errors=True)


def require_place(folder: Path, name: str, cure: str = "") -> None:
    """Refuse a place that a link leads astray, or, where a cure is named, one that is taken."""
    target = folder / name
    if os.path.lexists(target) and cure:
        why = f"this file is already there and was not touched; {cure}"
        raise RecordError(str(target), "", why)
    if target.is_dir():
        raise RecordError(str(target), "", "this is a folder, and a file is to be written here")
    if not target.parent.resolve().is_relative_to(folder.resolve()):
        raise RecordError(str(target), "", f"a link leads this outside {folder}; nothing was done")


def as_typed(name: str, *words: str | Path, stands: str = ".") -> str:
    """A command that is installed beside this one, as one types it who stands in a folder."""
    base = Path(os.path.abspath(stands))

    def typed(path: str | Path) -> str:
        own = Path(os.path.abspath(path))
        return str(own.relative_to(base) if own.is_relative_to(base) else own)

    found = shutil.which(name, path=Path(sys.executable).parent)
    first = typed(found) if found and found != shutil.which(name) else name
    said = [first, *(typed(word) if isinstance(word, Path) else word for word in words)]
    return subprocess.list2cmdline(said) if os.name == "nt" else shlex.join(said)


def report_command(folder: Path, stands: str = ".") -> str:
    """What computes a record, likewise."""
    output = f"{folder.resolve().name}-report"
    return as_typed("rfcal", "report", folder, "--output", output, stands=stands)


def _make(folder: Path, made: list[Path]) -> None:
    """Make a folder and those above it, and note which were made."""
    for path in (*reversed(folder.parents), folder):
        if path.is_dir():
            continue
        if os.path.lexists(path):
            raise RecordError(str(path), "", "this is a file, and a folder is needed here")
        path.mkdir()
        made.append(path)


def _swap_in(
    folder: Path, aside: Path, names: list[str], gone: list[str], made: list[Path]
) -> None:
    """Move a written set into its place; undo it whatever stops that.

    Stopped while it is undone, the next run finishes the new set.
    """
    ready, old = aside / READY, aside / OLD
    try:
        os.rename(aside / NEW, ready)
        _move(folder, ready, old, [*names, *gone], made)
        os.rename(ready, aside / NEW)
    except BaseException:
        if ready.exists():
            moved = [name for name in names if not os.path.lexists(ready / name)]
            moved += [name for name in (*names, *gone) if os.path.lexists(old / name)]
            _move(folder, old, ready, dict.fromkeys(moved), made)
            os.rename(ready, aside / NEW)
        raise


def _move(folder: Path, ready: Path, old: Path, names: Iterable[str], made: list[Path]) -> None:
    """Put files that are ready in their places; what is there instead becomes old."""
    for name in names:
        target = folder / name
        _make(target.parent, made)
        if os.path.lexists(target):
            (old / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(target, old / name)
        if os.path.lexists(ready / name):
            os.replace(ready / name, target)


def earlier_files(folder: Path) -> list[str]:
    """Touchstone files that the results.json of a folder calls its own, and that still are."""
    said = folder / "results.json"
    found = _SET.search(_begins(said, MOST_HEAD)) if said.is_file() else None
    if found is None:
        return []
    names = dict.fromkeys(name.decode() for name in _FILE.findall(found[2]))
    there = (name for name in names if (folder / name).is_file())
    return [name for name in there if found[1] in _begins(folder / name, 10_000)]


def _begins(file: Path, most: int) -> bytes:
    with file.open("rb") as opened:
        return opened.read(most)


def slug(name: str) -> str:
    """A file name made of a measurement's name: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower())[:60].strip("-") or "measurement"
