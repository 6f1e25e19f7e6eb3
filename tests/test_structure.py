"""The house rules: layers, lonely imports, light import, documented arguments, top level."""

import ast
import importlib
import inspect
import json
import pkgutil
import re
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import rfcal
from rfcal import workbook

ROOT = Path(__file__).parents[1]
FLOORS = [
    ["errors", "interrupt"],
    ["findings", "defaults"],
    ["maths"],
    ["uncertainty"],
    ["models"],
    ["readings"],
    ["measurement"],
    ["matching", "feedline", "planning", "components"],
    ["library"],
    ["record"],
    ["report"],
    ["workbook", "cli"],
    ["__main__"],
]
RANK = {room: rank for rank, rooms in enumerate(FLOORS) for room in rooms}
MODULES = sorted(m.name for m in pkgutil.walk_packages(rfcal.__path__, "rfcal."))
HEAVY = {"matplotlib", "ipywidgets", "skrf", "scipy", "IPython", "jinja2"}


def imports_of(module: str) -> set[str]:
    path = Path(importlib.util.find_spec(module).origin)
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("rfcal"):
            found |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("rfcal")}
    return found & set(MODULES)


def test_imports_obey_the_floors():
    rank = {m: RANK[m.split(".")[1]] for m in MODULES}
    room = {m: m.split(".")[1] for m in MODULES}
    above = {
        (m, other)
        for m in MODULES
        for other in imports_of(m)
        if room[other] != room[m] and rank[other] >= rank[m]
    }
    assert not above, "these import what does not lie below them"


def test_imports_have_no_cycle():
    packages = {m for m in MODULES if any(o.startswith(m + ".") for o in MODULES)}
    graph = {m: imports_of(m) - packages for m in MODULES}
    list(TopologicalSorter(graph).static_order())  # raises CycleError


def test_maths_needs_numpy_alone():
    for module in (m for m in MODULES if m.startswith("rfcal.maths.")):
        source = Path(importlib.util.find_spec(module).origin).read_text()
        roots = set(re.findall(r"^\s*(?:from|import) (\w+)", source, re.MULTILINE))
        assert roots <= {"numpy", "rfcal", "collections", "dataclasses", "types", "typing"}


def test_import_is_light():
    code = "import sys, rfcal.cli; print(*{m.split('.')[0] for m in sys.modules})"
    run = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert not HEAVY & set(run.stdout.split())


def test_notebooks_use_the_public_names_and_those_of_the_workbook_only():
    used = set()
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        cells = json.loads(path.read_text())["cells"]
        code = "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code")
        for node in ast.walk(ast.parse(code)):
            match node:
                case ast.Import(names=names):
                    assert {a.name for a in names} <= {"rfcal", "numpy"}, path.name
                case ast.ImportFrom(module="rfcal", names=names):
                    assert {a.name for a in names} <= {*rfcal.__all__, "workbook"}, path.name
                case ast.ImportFrom(module="rfcal.workbook", names=names):
                    used |= {a.name for a in names}
                case ast.ImportFrom(module=module):
                    assert module in {"dataclasses", "pathlib"}, path.name
                case ast.Attribute(value=ast.Name(id="rfcal"), attr=name):
                    assert name in rfcal.__all__, path.name
                case ast.Attribute(value=ast.Name(id="workbook"), attr=name):
                    used.add(name)
    offered = {name for name, thing in vars(workbook).items() if not inspect.ismodule(thing)}
    offered = {name for name in offered if not name.startswith("_")}
    assert used == offered, "used and not offered, or offered and not used"


def callables_of(module):
    for label, thing in vars(module).items():
        if label.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(thing) or inspect.isclass(thing):
            yield f"{module.__name__}.{label}", thing
        if inspect.isclass(thing):
            for inner, method in vars(thing).items():
                method = getattr(method, "__func__", method)
                if not inner.startswith("_") and inspect.isfunction(method):
                    yield f"{module.__name__}.{label}.{inner}", method


def test_all_that_is_not_private_has_a_docstring():
    modules = map(importlib.import_module, MODULES)
    bare = [n for m in modules for n, thing in callables_of(m) if not inspect.getdoc(thing)]
    assert not bare


def test_top_level_is_as_agreed():
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    top = {line.split("/")[0] for line in tracked if line}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "rfcal", "notebooks", "tests", "data"}
    assert {name for name in top if not name.startswith(".")} == agreed
    assert all(line.startswith("data/demo/") for line in tracked if line.startswith("data/"))


def test_ci_runs_the_tests_as_the_readme_says():
    commands = re.findall(r"^    (python3 -m venv .*)$", (ROOT / "README.md").read_text(), re.M)
    assert len(commands) == 2, "the README shows two commands: compute the demo, run the tests"
    ci = (ROOT / ".ci" / "run").read_text()
    assert "README.md" in ci, ".ci/run takes the second command from the README itself"
