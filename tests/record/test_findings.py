"""The catalogue of findings: one entry a code, each with a sentence that reads, each raised."""

import ast
import re
from pathlib import Path

import numpy as np
import pytest

import rfcal
from rfcal.findings import SEVERITIES, sorted_findings
from rfcal.record.findings.catalogue import (
    Entry,
    devices,
    line,
    match,
    parts,
    readings,
    slips,
    standards,
)
from rfcal.record.findings.devices import largest_sources
from rfcal.uncertainty.quantity import Effect, Quantity

FOLDER = Path(line.__file__).parent
SUBJECTS = (devices, line, match, parts, readings, slips, standards)
ENTRIES = [one for subject in SUBJECTS for one in vars(subject).values() if isinstance(one, Entry)]
CODES = [entry.code for entry in ENTRIES]
TESTS = Path(__file__).parents[1]
VALUES = {
    "where": "at 3 of 11 points from 50 to 52 MHz",
    **{
        "file": "raw/a.s2p",
        "s11": "31 - j2 ohm",
        "s21": "150 + j0 ohm",
        "s22": "infinite, as an open",
    },
    **dict.fromkeys(("name", "label", "device", "worst"), "antenna"),
    **{"check": "33 ohm", "standard": "load", "element": "line 1", "kind": "load"},
    **{"bare": "", "other": "short"},
    **{"metres": 62.0, "magnitude": 0.01, "degrees": 0.1, "wanted_mhz": 55.3, "taken_mhz": 55.0},
    **{"size": 1.02345, "growth": 48.213, "terms": "a source match of 1.2"},
    **{"short": "short", "opened": "open", "length": "", "place": "", "lead": ""},
    **{"warmer": "", "changed": "0.20% longer", "answer": "R 40.0 ± 1.0 ohm, X 1.0 ± 1.0 ohm"},
    **{"labels": "'antenna'", "others": "'short'", "odd_ohm": 75.0, "usual_ohm": 50.0},
    **{
        "pair": "'short' and 'open' were exchanged",
        "degrees": 171.23,
        "mhz": 55.123,
        "low_db": 0.91,
    },
    **{"low": 1.0234, "high": 1.1212, "high_db": 0.992},
    **{"evidence": standards.NO_CULPRIT, "what": "this calibration", "other": "33 ohm"},
    "one": "load",
    "explanation": standards.LOOK_FOR.format(causes=standards.CAUSES),
    **{"causes": standards.CAUSES, "sources": "'load: resistance' (41%)", "ampere": 4.123},
    **{"advice": match.ADVICE[0], "over": "over the band", "remedy": "another place"},
    **{
        "inside": 1.2345,
        "across": "120",
        "before": " before you build",
        "matched": "as it is",
        "devices": "'antenna'",
        "networks": "network 1 for 'device'",
    },
    **{"term": "source match", "radius": 0.4321},
    **{"chi_square": 48.213, "freedom": 4, "pairs": "'short' and 'load'"},
    "figures": line.LINE_FIGURES[0].format(seen=0.8412, type=0.66),
    "sentence": "New reflection at 17.4 ± 0.1 m, 0.034 (29 dB return loss).",
    **{"checks": "'33 ohm'", "load": "50 ohm", "build": "leaded"},
    **{"state_it": line.LINE_OR_STATE, "beyond": "", "points": 131},
    **{"range_m": 40.123, "place_m": 23.412, "least_mhz": 0.31812},
    **{"width_mhz": 12.0, "near_m": 15.93, "needed_mhz": 96.0, "aim_m": 2.0},
    "why": "the sweeps of its open and short end show no delay",
    **{"length_m": 35.0, "beyond_m": 40.02, "residual": 0.0312, "expected": 0.00211},
    **{"power_w": 100.0, "volt": 312.4, "target": 1.5, "best": "2.31", "step_mhz": 0.0712},
    **{"swr": "6.5", "z_ref": 50.0, "target_ohm": 450.0, "ohm": 50.0},
    **{
        "of": "short",
        "how": "turned clockwise by 3 degrees",
        "times": 12.345,
        "far": "12",
        "look": "look",
        "steps": "0.1",
    },
    **{"devices": "'antenna'", "artefact": "short", "at": "antenna", "steps": "0.1"},
    "invisible": devices.INVISIBLE[0][1],
    **{"names": "'short', 'open'", "step": 1.0, "stated": 0.1, "least": 999.0},
    "so": readings.SO_HELD.format(device="antenna"),
    **{"remains": readings.TELL_STANDARD, "grid": "81 points from 20 to 40 MHz"},
    "hint": "",
    **{"cm": 50.3, "cell": "999", "alone": "SWR"},
    "tell": readings.TELL_FURTHER.format(mhz=14.5231),
    **{"r": "31.1 ± 9.2", "x": "5.0 ± 8.1", "share": 0.612},
    **{
        "values": "'load': resistance_ohm 50 ohm",
        "turned": 12.3,
        "some": "some 40% of ",
        "advice": "",
        "most": -3.5,
        "too": "|Z|",
    },
    **{
        "points": 3,
        "act": "Measure 'whip' better",
        "bought": "",
        "first": "measure it",
        "needed": "5",
        "model": "a coil",
        "rivals": "a resistor",
        "percent": 41.2,
        "part": "R",
        "written": 6.5,
        "meant": 65.0,
        "first_ohm": -9.3,
        "later_ohm": 9.3,
    },
    **{"parameter": "resistance", "first_mhz": 1.0, "last_mhz": 30.0},
    "cure": parts.BLIND_CURES[0],
}


def trees(folder: Path):
    return {path: ast.parse(path.read_text()) for path in folder.rglob("*.py")}


def test_every_subject_is_looked_at():
    named = {subject.__name__.rpartition(".")[2] for subject in SUBJECTS}
    assert named == {path.stem for path in FOLDER.glob("*.py")} - {"__init__"}


def test_a_code_stands_in_the_catalogue_once():
    assert len(set(CODES)) == len(CODES)
    assert {entry.severity for entry in ENTRIES} <= set(SEVERITIES)


def test_findings_are_made_by_the_catalogue_alone():
    made = {
        path
        for path, tree in trees(Path(rfcal.__path__[0])).items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding"
    }
    assert made == {FOLDER / "__init__.py"}


def test_the_catalogue_knows_nothing_of_the_job():
    folder = FOLDER.parent
    imported = {
        node.module
        for tree in trees(folder).values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }
    assert not [module for module in imported if module.startswith("rfcal.record.job")]


def test_every_code_is_raised_by_a_test():
    """A code that is only said to be absent does not count."""
    raised = set()
    for path, tree in trees(TESTS).items():
        absent = {
            inner
            for node in ast.walk(tree)
            if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.NotIn)
            for inner in ast.walk(node)
        }
        if path != Path(__file__):
            raised |= {
                node.value
                for node in ast.walk(tree)
                if isinstance(node, ast.Constant) and node not in absent
            }
    assert not set(CODES) - raised


@pytest.mark.parametrize("entry", ENTRIES, ids=CODES)
def test_every_sentence_reads(entry):
    found = entry(**VALUES)
    assert found.about
    assert re.match(r"[A-Z'].*[.]$", found.message)
    assert not re.search(r"[{}]|  |\d{5}|\bnan\b", found.message)


def test_a_value_that_a_sentence_needs_is_not_left_out():
    with pytest.raises(KeyError, match="causes"):
        devices.ACTIVE(device="antenna")


def test_warnings_come_before_notes_and_each_once():
    note = devices.NO_CHECK(**VALUES)
    warning = devices.ACTIVE(device="d", where="at 50 MHz", how="above 1", causes="at R")
    assert sorted_findings([note, warning, note]) == (warning, note)


def test_a_source_of_no_weight_is_not_named_among_the_largest():
    effects = Effect("connection", 0.02 + 0.02j), Effect("short: display step", 0.0005 + 0j)
    told = largest_sources(Quantity(np.zeros(3, complex), effects), np.ones(3, bool))
    assert told == "'connection' (100%)"
