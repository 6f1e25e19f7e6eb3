"""Writing to disk: whole or not at all, and nothing of the user's overwritten unasked."""

import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from rfcal.errors import RecordError


def write_files(
    folder: Path, files: Mapping[str, bytes | Iterable[bytes]], *, force: bool = False
) -> None:
    """Write files by relative path, all or none; with `force` over those of the same names."""
    made: list[Path] = []
    try:
        for name in files:
            _require_place(folder, name, force)
        _make(folder, made)
        with tempfile.TemporaryDirectory(prefix=".rfcal-", dir=folder) as spare:
            _swap_in(folder, Path(spare), files, made)
    except (OSError, ValueError) as error:
        for path in reversed(made):
            if not any(path.iterdir()):
                path.rmdir()
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(folder), "", f"cannot be written to ({why})") from error


def _require_place(folder: Path, name: str, force: bool) -> None:
    """Refuse a place that is taken, or that a link or a file on the way leads astray."""
    target = folder / name
    if os.path.lexists(target) and not force:
        raise RecordError(
            str(target),
            "",
            "this file is already there and was not touched; choose another folder, or for a "
            "report say --force",
        )
    if target.is_dir():
        raise RecordError(str(target), "", "this is a folder, and a file is to be written here")
    for above in target.parents:
        if above.exists():
            if not above.is_dir():
                raise RecordError(str(above), "", "this is a file, and a folder is needed here")
            break
    if not target.parent.resolve().is_relative_to(folder.resolve()):
        raise RecordError(str(target), "", f"a link leads this outside {folder}; nothing was done")


def _make(folder: Path, made: list[Path]) -> None:
    """Make a folder and those above it, and note which were made."""
    for path in (*reversed(folder.parents), folder):
        if not path.exists():
            path.mkdir()
            made.append(path)


def _swap_in(
    folder: Path, spare: Path, files: Mapping[str, bytes | Iterable[bytes]], made: list[Path]
) -> None:
    """Write to a spare folder first, then move each into its place; undo all if one fails."""
    new, old = spare / "new", spare / "old"
    for name, content in files.items():
        (new / name).parent.mkdir(parents=True, exist_ok=True)
        with (new / name).open("wb") as file:
            file.writelines([content] if isinstance(content, bytes) else content)
    done: list[str] = []
    try:
        for name in files:
            target = folder / name
            _make(target.parent, made)
            if os.path.lexists(target):
                (old / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(target, old / name, follow_symlinks=False)
            done.append(name)
            os.replace(new / name, target)
    except OSError:
        for name in done:
            if os.path.lexists(old / name):
                os.replace(old / name, folder / name)
            else:
                (folder / name).unlink(missing_ok=True)
        raise
