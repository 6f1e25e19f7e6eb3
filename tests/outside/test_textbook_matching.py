"""Matching against worked examples of textbooks, and preferred values against the standard.

Each entry of `textbook_matching.json` names its own source and says what was read, what is a value
from memory, and what was recomputed.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.errors import MatchingError
from rfcal.matching import designs
from rfcal.matching import goal as band
from rfcal.matching.designs import Point
from rfcal.matching.parts import E_SERIES, Inductor, Stub
from rfcal.models.line import SPEED_OF_LIGHT, Line

HERE = Path(__file__).parents[1] / "reference"
CASES = json.loads((HERE / "textbook_matching.json").read_text("utf-8"))
F = 100e6


def cases(kind):
    return [pytest.param(c, id=c["id"]) for c in CASES if c["kind"] == kind]


def agree(case, found):
    """Each figure against its printed value, and against the full-precision one."""
    assert set(found) >= set(case["values"])
    for name, figure in case["values"].items():
        assert found[name] == pytest.approx(figure["recomputed"], rel=1e-9), name
        if "published" in figure:
            assert found[name] == pytest.approx(figure["published"], abs=figure["tolerance"]), name


def given(case):
    return case.get("frequency_hz", F), complex(*case["load_ohm"]), case["target_ohm"]


def reactance(element, frequency):
    return element.part.impedance(np.array(frequency)).imag


@pytest.mark.parametrize("case", cases("L"))
def test_l_section(case):
    networks = [n for n in designs.l_section(Point(*given(case))) if n.topology == case["order"]]
    found = {}
    for network, place in zip(networks, ("first", "second"), strict=True):
        for element in network.elements:
            coil = isinstance(element.part, Inductor)
            name = "L_nH" if coil else "C_pF"
            value = element.value * (1e9 if coil else 1e12)
            found[f"{place} {name}"] = found[f"{network.form} {name}"] = value
            ohm = abs(reactance(element, case["frequency_hz"]))
            found[f"{element.place}_ohm"] = ohm
    agree(case, found)


@pytest.mark.parametrize("case", cases("pi") + cases("T"))
def test_pi_and_t(case):
    """The book's solution of two reactances of one sign in the middle part."""
    found = []
    for network in designs.by_q(Point(*given(case)), shape=case["kind"], q=case["q"]):
        source, middle, load = (abs(reactance(e, F)) for e in network.elements)
        name = "series_ohm" if case["kind"] == "pi" else "shunt_ohm"
        found.append({"source_ohm": source, name: middle, "load_ohm": load})
    assert len(found) == 4
    # of the four, the two with both branches of one sign: largest series, least shunt reactance
    key = max if case["kind"] == "pi" else min
    agree(case, key(found, key=lambda values: values[name]))


def waves(element, line):
    return element.value / float(line.wavelength_m(F))


@pytest.mark.parametrize("case", cases("single stub"))
def test_single_stub(case):
    line = Line(1.0, 0.7, float(case["target_ohm"]))
    networks = designs.single_stub(
        Point(*given(case)), line=line, place=case["place"], end=case["end"]
    )
    found = sorted(
        (waves(section, line), waves(stub, line))
        for stub, section in (n.elements for n in networks)
    )
    agree(
        case,
        {f"{k}{i}": v for i, d_l in enumerate(found, 1) for k, v in zip("dl", d_l, strict=True)},
    )


@pytest.mark.parametrize("case", cases("double stub"))
def test_double_stub(case):
    line = Line(1.0, 0.7, 50.0)
    names = ("end", "spacing_waves", "first_waves")
    networks = designs.double_stub(Point(*given(case)), line=line, **{k: case[k] for k in names})
    stubs = [[waves(e, line) for e in n.elements if isinstance(e.part, Stub)] for n in networks]
    found = sorted((first, second) for second, first in stubs)
    agree(case, {f"l{k} {i}": v for i, two in enumerate(found, 1) for k, v in enumerate(two, 1)})


@pytest.mark.parametrize("case", cases("quarter wave"))
def test_quarter_wave(case):
    (network,) = designs.quarter_wave(Point(*given(case)), line=Line(1.0, 0.7, 50.0))
    (section,) = network.elements
    assert section.value == pytest.approx(0.7 * SPEED_OF_LIGHT / F / 4)
    frequency = np.linspace(0.5 * F, 1.5 * F, 20_001)
    load = np.full(frequency.size, complex(*case["load_ohm"]))
    seen = np.abs(network.seen(frequency, load, z_ref=50.0))
    at = band.bandwidth(frequency, seen, 1.5, F)
    figures = {"z_ohm": section.line.z0, "bandwidth": at.width_hz / F}
    for name, figure in case["values"].items():
        assert figures[name] == pytest.approx(figure["recomputed"], rel=1e-6)
        assert figures[name] == pytest.approx(figure["published"], abs=figure["tolerance"])


@pytest.mark.parametrize("case", cases("two sections"))
def test_two_sections(case):
    near, far = Line(1.0, 0.7, float(case["near_ohm"])), Line(1.0, 0.8, float(case["far_ohm"]))
    networks = designs.two_sections(Point(*given(case)), near=near, far=far)
    found = sorted((waves(n.elements[1], near), waves(n.elements[0], far)) for n in networks)
    pairs = {f"near{i}": a for i, (a, _) in enumerate(found, 1)}
    agree(case, pairs | {f"far{i}": b for i, (_, b) in enumerate(found, 1)})


def test_two_sections_reach_no_further_than_the_square_of_the_ratio():
    """Resistive load, 50 and 75 ohm: SWR up to 2.25 (series-section article, from memory)."""
    near, far = Line(1.0, z0=50.0), Line(1.0, z0=75.0)
    assert designs.two_sections(Point(F, 50 * 2.249 + 0j), near=near, far=far)
    with pytest.raises(MatchingError):
        designs.two_sections(Point(F, 50 * 2.251 + 0j), near=near, far=far)


@pytest.mark.parametrize("case", cases("stub"))
def test_stub_of_a_susceptance(case):
    line = Line(1.0, case["velocity_factor"], case["z0_ohm"])
    normalised = case["siemens"] * case["z0_ohm"]
    _, stub = designs.stub(
        case["frequency_hz"], line, place="shunt", end="open", normalised=normalised
    )
    agree(case, {"length_m": stub.line.length_m})


@pytest.mark.parametrize("series", E_SERIES)
def test_preferred_values_of_the_standard(series):
    """IEC 60063, tables of E6 to E24, E48 to E192."""
    table = json.loads((HERE / "iec60063.json").read_text("utf-8"))[series]
    scale = 10 if len(table) <= 24 else 100
    assert (E_SERIES[series] * scale).tolist() == pytest.approx(table, rel=1e-14)


def test_every_example_of_the_table_is_used():
    assert {c["kind"] for c in CASES} == {
        "L", "pi", "T", "single stub", "double stub", "quarter wave", "two sections", "stub"
    }  # fmt: skip
