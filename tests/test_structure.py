"""The house rules: layers, lonely imports, light import, documented arguments, top level."""

import ast
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import rfcal

ROOT = Path(__file__).parents[1]
FLOORS = [
    ["errors", "findings", "maths"],
    ["models", "uncertainty", "readings", "measurement", "matching", "feedline", "planning"],
    ["record"],
    ["report"],
    ["workbook", "cli"],
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


@pytest.mark.parametrize("module", MODULES)
def test_module_imports_alone(module):
    subprocess.run(
        [sys.executable, "-W", "error", "-c", f"import {module}"], check=True, timeout=60
    )


@pytest.mark.parametrize("module", MODULES)
def test_imports_obey_the_layers(module):
    rank = RANK[module.split(".")[1]]
    above = {m for m in imports_of(module) if RANK[m.split(".")[1]] > rank}
    assert not above, f"{module} imports {above}, which lie above it"


def test_imports_have_no_cycle():
    packages = {m for m in MODULES if any(o.startswith(m + ".") for o in MODULES)}
    graph = {m: imports_of(m) - packages for m in MODULES}
    list(TopologicalSorter(graph).static_order())  # raises CycleError


def test_maths_needs_numpy_alone():
    for module in (m for m in MODULES if m.startswith("rfcal.maths.")):
        source = Path(importlib.util.find_spec(module).origin).read_text()
        roots = set(re.findall(r"^\s*(?:from|import) (\w+)", source, re.MULTILINE))
        assert roots <= {"numpy", "rfcal", "collections", "dataclasses", "typing"}


@pytest.mark.parametrize(
    "module",
    [
        "rfcal",
        "rfcal.maths.bilinear",
        "rfcal.measurement.model",
        "rfcal.matching.place",
        "rfcal.matching.trim",
        "rfcal.record.job.compute",
    ],
)
def test_import_is_light(module):
    code = f"import sys, {module}; print(*{{m.split('.')[0] for m in sys.modules}})"
    loaded = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True
    ).stdout
    assert not HEAVY & set(loaded.split())


def public_callables():
    for name in MODULES:
        module = importlib.import_module(name)
        for label, thing in vars(module).items():
            if label.startswith("_") or getattr(thing, "__module__", None) != name:
                continue
            if inspect.isfunction(thing):
                yield f"{name}.{label}", thing
            elif inspect.isclass(thing):
                yield f"{name}.{label}", thing
                for inner, method in vars(thing).items():
                    method = getattr(method, "__func__", method)
                    if not inner.startswith("_") and inspect.isfunction(method):
                        yield f"{name}.{label}.{inner}", method


def documented(doc: str) -> set[str]:
    match = re.search(
        r"(Parameters|Attributes)\n\s*-+\n(.*?)(?:\n\s*\n\s*\w+\n\s*---|\Z)", doc, re.S
    )
    lines = re.findall(r"^\s*([\w*, ]+?) :", match[2], re.MULTILINE) if match else []
    return {word.strip(" *") for line in lines for word in line.split(",")}


@pytest.mark.parametrize(("name", "thing"), [pytest.param(*c, id=c[0]) for c in public_callables()])
def test_public_arguments_are_documented(name, thing):
    doc = inspect.getdoc(thing) or ""
    assert doc, f"{name} has no docstring"
    if inspect.isclass(thing) and (
        thing.__init__ in (object.__init__, Exception.__init__)
        or getattr(thing, "_is_protocol", False)
    ):
        return
    try:
        parameters = inspect.signature(thing).parameters.values()
    except ValueError:
        return
    wanted = {p.name for p in parameters if p.name not in ("self", "cls")}
    assert wanted <= documented(doc), f"{name} leaves undocumented: {wanted - documented(doc)}"


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
