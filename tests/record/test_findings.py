"""The catalogue of findings: one entry a code, each with a sentence that reads, each raised."""

import ast
from pathlib import Path
from string import Formatter

import pytest

import rfcal
from rfcal.findings import SEVERITIES, sorted_findings
from rfcal.record.findings import catalogue
from rfcal.record.findings.catalogue import Entry

ENTRIES = [entry for entry in vars(catalogue).values() if isinstance(entry, Entry)]
CODES = [entry.code for entry in ENTRIES]
TESTS = Path(__file__).parents[1]
WORDS = {
    "where": "at 3 of 11 points from 50 to 52 MHz",
    "hint": catalogue.HINT_EXCHANGED.format(pairs="'short' and 'load'"),
    "pairs": "'short' and 'load'",
    "why": "the sweeps of its open and short end differ too much",
}


def trees(folder: Path):
    return {path: ast.parse(path.read_text()) for path in folder.rglob("*.py")}


def places_of(template: str) -> dict[str, str]:
    return {name: spec or "" for _, name, spec, _ in Formatter().parse(template) if name}


def test_a_code_stands_in_the_catalogue_once():
    assert len(set(CODES)) == len(CODES)
    assert {entry.severity for entry in ENTRIES} <= set(SEVERITIES)


def test_findings_are_made_by_the_catalogue_alone():
    made = {
        path.name
        for path, tree in trees(Path(rfcal.__path__[0])).items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding"
    }
    assert made == {"catalogue.py"}


def test_the_catalogue_knows_nothing_of_the_job():
    folder = Path(catalogue.__file__).parent
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
    places = places_of(entry.sentence) | places_of(entry.about)
    values = {n: 1.2 if spec else WORDS.get(n, "thing") for n, spec in places.items()}
    found = entry(**values)
    assert found.message.rstrip().endswith(".")
    assert found.message[0].isupper() or found.message[0] == "'"
    assert "  " not in found.message
    assert found.about


def test_warnings_come_before_notes_and_each_once():
    note, warning = catalogue.NO_CHECK(), catalogue.ACTIVE(device="d", where="at 50 MHz")
    assert sorted_findings([note, warning, note]) == (warning, note)
