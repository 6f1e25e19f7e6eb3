"""A reader's own record of any make runs through a notebook: a part that does not apply says so."""

import ast
import builtins
from pathlib import Path

import matplotlib
import nbformat
import pytest

from rfcal import compute, workbook
from tests.workbook.own_records import MAKE

FOLDER = Path(__file__).parents[2] / "notebooks"
NOTEBOOKS = ("00", "01", "02", "03", "04", "05", "06")


def names(tree: ast.AST, context: type) -> set[str]:
    found = (n for n in ast.walk(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, context))
    return {n.id for n in found}


def cells(notebook: str) -> list[str]:
    """Code that a record changes: what comes from `folder`, and what that needs."""
    (path,) = FOLDER.glob(f"{notebook}-*.ipynb")
    sources = [c.source for c in nbformat.read(path, 4).cells if c.cell_type == "code"]
    trees = [ast.parse(source) for source in sources]
    own, keep = {"folder"}, set()
    for i, tree in enumerate(trees):
        if sources[i].startswith("folder = ") or own & names(tree, ast.Load):
            own |= names(tree, ast.Store)
            keep.add(i)
    wanted: set[str] = set().union(*(names(trees[i], ast.Load) for i in keep))
    for i in reversed(range(len(trees))):
        made = names(trees[i], ast.Store) | {
            (a.asname or a.name).split(".")[0]
            for n in ast.walk(trees[i])
            if isinstance(n, ast.Import | ast.ImportFrom)
            for a in n.names
        }
        if i in keep or (made & wanted) - set(dir(builtins)):
            keep.add(i)
            wanted |= names(trees[i], ast.Load)
    return [sources[i] for i in sorted(keep) if "/report-" not in sources[i]]


@pytest.mark.parametrize("notebook", NOTEBOOKS)
@pytest.mark.parametrize("make", MAKE)
def test_a_notebook_goes_on_with_a_record_of_its_reader(
    make, notebook, tmp_path, monkeypatch, capsys
):
    MAKE[make](tmp_path / "own")
    monkeypatch.chdir(FOLDER)
    matplotlib.use("Agg")
    room: dict[str, object] = {}
    for source in cells(notebook):
        if source.startswith("folder = "):
            room["folder"] = str(tmp_path / "own")
        else:
            exec(source, room)
    said = capsys.readouterr().out
    if not compute(tmp_path / "own").checks:
        assert "all as it should be" not in said.lower()


def test_a_verdict_needs_a_check(tmp_path):
    MAKE["no check"](tmp_path / "none")
    assert "no [[check]]" in workbook.verdict(compute(tmp_path / "none"))
    assert "every check agrees" in workbook.verdict(compute(FOLDER / "../data/demo/sensor-coil"))
