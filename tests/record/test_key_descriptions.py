"""What the descriptions of the keys give besides checks: README's table and starting record."""

import tomllib
from pathlib import Path

import pytest

from rfcal.record.format.readme import with_table
from rfcal.record.format.schema import SECTIONS, TOP
from rfcal.record.format.start import starting_record
from rfcal.record.job.compute import compute

README = Path(__file__).parents[2] / "README.md"


def test_the_readme_has_the_keys_as_they_are():
    text = README.read_text(encoding="utf-8")
    assert text == with_table(text), "run: python -m rfcal.record.format.readme README.md"


def test_the_starting_record_computes_as_it_stands_and_needs_no_warning(tmp_path):
    (tmp_path / "record.toml").write_text(starting_record(), encoding="utf-8")
    results = compute(tmp_path)
    assert all(check.agrees for check in results.checks)
    # of one typed row no other tells a wrong digit
    assert [finding.code for finding in results.findings] == ["typed-unseen"]


def test_the_starting_record_fits_a_terminal_and_what_it_comments_out_is_toml():
    text = starting_record()
    assert max(map(len, text.splitlines())) <= 100
    aside = [line.removeprefix("# ") for line in text.splitlines() if line.startswith("# ")]
    entries = [line for line in aside if line.startswith("[") or " = " in line]
    stated = tomllib.loads("\n".join(line for line in entries if not line.startswith("reading =")))
    assert stated.keys() >= {"measurement", "line_check", "match"}


@pytest.mark.parametrize("section", [TOP, *SECTIONS], ids=lambda section: section.header)
def test_every_key_says_what_it_is(section):
    for key in section.keys:
        assert key.says
        assert key.form
        assert key.default is None or not key.needed, "what must be there has no default"
