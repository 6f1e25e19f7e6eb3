"""The public names: examples run, parameters documented, types seen by a checker."""

import doctest
import importlib
import inspect
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

import rfcal

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data" / "demo"
NAMES = [name for name in rfcal.__all__ if name not in ("workbook", "__version__")]
MODULES = sorted({getattr(rfcal, name).__module__ for name in NAMES} | {"rfcal"})
USER = """# mypy: disallow-untyped-calls, disallow-any-generics, no-implicit-reexport, extra-checks
import rfcal

short, opened, load, antenna = (rfcal.read(f"{n}.s1p") for n in ("short", "open", "load", "a"))
standards = {rfcal.Standard("short", inductance=0.35e-9): short, rfcal.Standard("open"): opened}
calibrated: rfcal.CalibratedAnalyzer = rfcal.calibrate(standards, analyzer=rfcal.Analyzer(0.001))
mixed = rfcal.calibrate(
    {
        rfcal.Standard("short", inductance=[0.35e-9, 0.0]): short,
        rfcal.Standard("open"): opened,
        rfcal.Tabulated(load.frequency, load.reflection, name="load"): load,
    }
)
table = rfcal.Tabulated([1e6, 2e6], [0.1, 0.1j])
sweep = rfcal.Sweep([1e6, 2e6], [0.1, 0.1j], label="typed")
device: rfcal.Device = calibrated.correct(antenna)
there = device.remove(rfcal.cable("RG-213", 12.4), uncertainty={"length": 0.005})
low: float = there.at(70.2e6).resistance.low
there.save("antenna.s1p")
results: rfcal.Results = rfcal.compute("record")
ratio = rfcal.swr(rfcal.from_impedance(rfcal.to_impedance(0.3)))
version: str = rfcal.__version__
box: rfcal.Bilinear = calibrated.terms.error_box
panel = rfcal.workbook.cable_panel
try:
    device.at(1.0)
except rfcal.RfcalError as error:
    reveal_type(error)
reveal_type(device.at)
device.remove("a line")
device.at("70 MHz")
rfcal.Standard("lod")
rfcal.plots
"""


@pytest.mark.parametrize("module", MODULES)
def test_examples_run(module, monkeypatch):
    monkeypatch.chdir(ROOT)
    failed, _ = doctest.testmod(importlib.import_module(module))
    assert not failed


def documented():
    """Public functions, classes and methods, each with its parameters."""
    for name in NAMES:
        thing = getattr(rfcal, name)
        yield name, thing
        if inspect.isclass(thing) and not issubclass(thing, Exception):
            for inner, method in vars(thing).items():
                method = getattr(method, "__func__", method)
                if not inner.startswith("_") and inspect.isfunction(method):
                    yield f"{name}.{inner}", method


PUBLIC = dict(documented())


@pytest.mark.parametrize("name", PUBLIC)
def test_every_parameter_of_a_public_name_is_documented(name):
    thing, doc = PUBLIC[name], inspect.getdoc(PUBLIC[name]) or ""
    head, _, rest = doc.partition("\nParameters\n----------\n")
    told = [
        word.strip(" *")
        for line in rest.split("\n\n")[0].split("\n")
        if line and not line.startswith(" ")
        for word in line.split(" : ")[0].split(",")
    ]
    parameters = [p for p in inspect.signature(thing).parameters if p not in ("self", "cls")]
    assert told == parameters
    returns = inspect.signature(thing).return_annotation if inspect.isfunction(thing) else None
    assert (returns in (None, "None")) or "\nReturns\n-------\n" in doc
    assert head.split("\n")[0].endswith(".")


def doors():
    """Functions and constructors of all that is offered, but what tells anything and exceptions."""
    for room in (rfcal, rfcal.workbook):
        for name in room.__all__:
            thing = getattr(room, name)
            if callable(thing) and name not in ("tell", "RfcalError"):
                yield f"{room.__name__}.{name}", thing


DOORS = dict(doors())


@pytest.mark.parametrize("name", DOORS)
@pytest.mark.parametrize("wrong", [object(), {"a": [None]}, b"x"], ids=lambda w: type(w).__name__)
def test_every_door_refuses_what_is_of_another_type(name, wrong):
    parameters = inspect.signature(DOORS[name]).parameters.values()
    asked = [p for p in parameters if p.default is p.empty and p.kind != p.VAR_KEYWORD]
    by_name = {p.name: wrong for p in asked or [*parameters][:1] if p.kind == p.KEYWORD_ONLY}
    in_order = [wrong for p in asked or [*parameters][:1] if p.kind != p.KEYWORD_ONLY]
    with pytest.raises(rfcal.RfcalError) as caught:
        DOORS[name](*in_order, **by_name)
    assert "\n" not in str(caught.value)


def writable(thing, where, seen):
    """Where arrays, mappings and lists are that can be written to, in all that a thing holds."""
    if id(thing) in seen:
        return
    seen[id(thing)] = thing
    if isinstance(thing, np.ndarray):
        if thing.flags.writeable:
            yield where
    elif isinstance(thing, dict | list | set):
        yield where
    elif isinstance(thing, tuple | Mapping):
        items = thing.values() if isinstance(thing, Mapping) else thing
        for item in items:
            yield from writable(item, f"{where}[]", seen)
    elif type(thing).__module__.startswith("rfcal."):
        names = {n for n in dir(thing) if not n.startswith("__")}
        for name in names - {n for n in names if inspect.isroutine(getattr(type(thing), n, None))}:
            held = getattr(thing, name)
            if getattr(thing, name) is held:  # what is made anew at each asking is nobody's
                yield from writable(held, f"{where}.{name}", seen)


@pytest.mark.parametrize("demo", sorted(path.parent.name for path in DEMO.glob("*/record.toml")))
def test_nothing_that_results_hold_can_be_written_to(demo, computed):
    results = computed(demo)
    (two,) = {device.two_answers.flags.writeable for device in results.devices} or {False}
    assert not two
    assert not set(writable(results, "results", {}))


def test_nothing_that_public_objects_hold_can_be_written_to(computed):
    own = computed("beacon-antenna")
    sweeps = {item.model: item.reading for item in own.bench.standards}
    calibrated = rfcal.calibrate(sweeps)
    device = calibrated.correct(own.devices[0].raw).add(rfcal.Line(0.5, conductor_db=0.5))
    setup = rfcal.workbook.usual_setup(7e6)
    held = calibrated, device, device.at(70.2e6), rfcal.workbook.plan(setup, 50.0), setup
    assert not set(writable((*held, rfcal.Bilinear(1, 0, 0, 1), rfcal.Analyzer()), "", {}))
    assert not set(writable(rfcal.workbook.CABLES, "CABLES", {}))


@pytest.mark.parametrize("name", NAMES)
def test_every_public_name_has_an_example(name):
    assert ">>>" in inspect.getdoc(getattr(rfcal, name))


def test_a_type_checker_sees_every_name(tmp_path):
    script = tmp_path / "user.py"
    script.write_text(USER)
    # with the package's own options, so that its cache serves
    said = subprocess.run(
        [sys.executable, "-m", "mypy", str(script)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    # which the cache may know by an earlier run's folder
    about = [line.split(":", 2)[2] for line in said.splitlines() if f"/{script.name}:" in line]
    notes = [line for line in about if "note: Revealed type" in line]
    errors = [line for line in about if "error:" in line]
    assert "rfcal.errors.RfcalError" in notes[0]
    assert "rfcal.uncertainty.words.Answer" in notes[1]
    assert len(errors) == 4, said
    assert 'incompatible type "str"' in errors[0]
    assert 'expected "float"' in errors[1]
    assert "Literal['short', 'open', 'load']" in errors[2]
    assert 'has no attribute "plots"' in errors[3]


def test_the_readme_shows_what_its_example_prints(tmp_path, monkeypatch, capsys):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    (shown,) = re.findall(r"```text\n(.*?)```", text, re.DOTALL)
    assert len([line for line in code.splitlines() if line]) <= 12
    assert re.findall(r"import .*", code) == ["import rfcal"]
    (tmp_path / "data").symlink_to(ROOT / "data")
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "README.md", "exec"), {})
    assert capsys.readouterr().out == shown
    saved = rfcal.read("antenna-below-a-lead.s1p")
    assert saved.frequency.size == 201
