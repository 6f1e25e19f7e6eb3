"""A reader's own record of any make runs through a notebook: a part that does not apply says so."""

import ast
import builtins
from collections import defaultdict
from functools import cache
from itertools import pairwise
from pathlib import Path

import matplotlib
import nbformat
import pytest

import rfcal
from rfcal import compute, workbook
from rfcal.record.format.schema import Record, load
from rfcal.workbook import lesson
from tests.conftest import DEMO
from tests.workbook.own_records import AT_ONE, LACKS, MAKE

FOLDER = Path(__file__).parents[2] / "notebooks"
THOROUGH, SLOW = "corrects itself", ("verify", ".ends()")
"""The record for which slow cells run too: a page computed again, sliders over their range."""
NOTEBOOKS = sorted(path.stem for path in FOLDER.glob("*.ipynb"))


def names(tree: ast.AST, context: type) -> set[str]:
    found = (n for n in ast.walk(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, context))
    return {n.id for n in found}


@cache
def cells(notebook: str, start: str = "folder") -> list[str]:
    """Code with what comes from names, and what that needs; of `folder`, what a record changes."""
    book = nbformat.read(FOLDER / f"{notebook}.ipynb", 4)
    sources = [c.source for c in book.cells if c.cell_type == "code"]
    trees = [ast.parse(source) for source in sources]
    own, keep = {start}, set()
    for i, tree in enumerate(trees):
        stored = names(tree, ast.Store)
        if any(name.startswith(start) for name in stored) or own & (names(tree, ast.Load) - stored):
            own |= stored
            keep.add(i)
    wanted: set[str] = set()
    for i in reversed(range(len(trees))):
        made = names(trees[i], ast.Store) | {
            (a.asname or a.name).split(".")[0]
            for n in ast.walk(trees[i])
            if isinstance(n, ast.Import | ast.ImportFrom)
            for a in n.names
        }
        if i in keep or made & wanted:
            keep.add(i)
            wanted |= names(trees[i], ast.Load) - made - set(dir(builtins))
    return [sources[i] for i in sorted(keep)]


def missing(sources: list[str], lacks: set[str]) -> set[str]:
    """What the parts of a notebook ask for and a record has not, by the names of `LACKING`."""
    found = set()
    for node in (n for source in sources for n in ast.walk(ast.parse(source))):
        match node:
            case ast.Call(func=ast.Attribute(attr="has" | "compute" as how), args=args):
                asked = [a.value for a in args if isinstance(a, ast.Constant)]
                first = [need for need in asked if need in lacks][:1]
                found |= set(first)
                if first and how == "compute":
                    break  # what follows is the demo's
    return found


def pairs() -> list[tuple[str, str]]:
    """Each record with each notebook, but for what that cannot tell from another record.

    These lack the same of all that it asks for, and both are read at one frequency or swept.
    """
    found = []
    for turn, notebook in enumerate(NOTEBOOKS):
        text, alike = " ".join(cells(notebook)), defaultdict(list)
        asked = {need for need in lesson.LACKING if f'"{need}"' in text}
        for make in MAKE:
            alike[make in AT_ONE, frozenset(LACKS[make] & asked)].append(make)
        # one of those that are alike, another in each notebook
        for group in alike.values():
            make = THOROUGH if THOROUGH in group else group[turn % len(group)]
            found.append((make, notebook))
    assert {make for make, _ in found} == set(MAKE)
    return found


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Each record once."""
    found = {make: tmp_path_factory.mktemp("own") / "record" for make in MAKE}
    for make, folder in found.items():
        MAKE[make](folder)
    return found


@pytest.fixture(scope="module", autouse=True)
def computed_once(computed, at_the_answer):
    """The same record gives the same results in every notebook; a demo, those of all tests."""
    kept, once = {}, compute

    def kept_or_computed(record, **how):
        record = record if isinstance(record, Record) else load(record)
        folder = Path(record.folder).resolve()
        if folder.parent == DEMO and record.content == load(folder).content:
            return computed(folder.name)
        if (key := (folder, record.content)) not in kept:
            with at_the_answer():
                kept[key] = once(record, **how)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lesson.job, "compute", kept_or_computed)
        patch.setattr(rfcal, "compute", kept_or_computed)
        yield


@pytest.mark.parametrize(("make", "notebook"), pairs())
def test_a_notebook_goes_on_with_a_record_of_its_reader(
    make, notebook, folders, tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(FOLDER)
    matplotlib.use("Agg")
    room: dict[str, object] = {}
    for source in cells(notebook):
        if source.startswith("folder = "):
            room |= {"folder": str(folders[make]), "output": str(tmp_path / "page")}
        elif make == THOROUGH or not any(word in source for word in SLOW):
            exec(source, room)
            results = room.get("results")
            if make != THOROUGH and results and Path(results.record.folder) != folders[make]:
                break  # what follows is the demo's, whatever the record
    said = " ".join(capsys.readouterr().out.split())
    told = {need for need, (what, _) in lesson.LACKING.items() if f"about {what}." in said}
    assert told == missing(cells(notebook), LACKS[make])
    if not rfcal.compute(folders[make]).checks:
        assert "all as it should be" not in said.lower()


@pytest.mark.parametrize("notebook", NOTEBOOKS)
def test_each_slip_of_an_exercise_is_answered_with_its_reason(notebook, monkeypatch):
    judges = []

    def tried(true, unit="", *, why, slips):
        assert lesson.judged(true, true, unit, why, slips).startswith("Right")
        for reason, value in slips.items():
            assert lesson.judged(value, true, unit, why, slips).endswith(f": {reason}")
        judges.append(why)
        return lambda answer: None

    monkeypatch.setattr(workbook, "exercise", tried)
    monkeypatch.chdir(FOLDER)
    room: dict[str, object] = {}
    for source in cells(notebook, "judge"):
        exec(source, room)
    assert len(judges) >= 3


@pytest.mark.parametrize("notebook", NOTEBOOKS)
def test_what_judges_an_answer_is_folded_and_stands_before_it(notebook):
    book = nbformat.read(FOLDER / f"{notebook}.ipynb", 4)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    for cell, after in pairwise(code):
        folded = cell.metadata.get("jupyter", {}).get("source_hidden", False)
        assert folded == ("workbook.exercise(" in cell.source)
        # the fold shows its first line
        assert not folded or cell.source.startswith("# The answer to exercise")
        assert not folded or after.source.startswith("judge_")


def test_a_verdict_needs_a_check(folders):
    assert "no [[check]]" in workbook.verdict(rfcal.compute(folders["no check"]))
    assert "every check agrees" in workbook.verdict(rfcal.compute(DEMO / "sensor-coil"))
