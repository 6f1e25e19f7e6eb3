"""What the descriptions of the keys give besides checks: README's table and starting record."""

import tomllib
from pathlib import Path

import pytest

from rfcal.errors import RecordError
from rfcal.record.format import schema
from rfcal.record.format.kinds import Choice, Number
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


@pytest.mark.parametrize(
    ("header", "loaded"),
    [
        ("[record]", lambda record: record.more),
        ("[analyzer]", lambda record: record.analyzer),
        ("[[standard]]", lambda record: record.standards[0].more),
        ("[[measurement]]", lambda record: record.measurements[0].more),
    ],
)
def test_a_new_key_takes_its_description_alone(header, loaded, tmp_path, monkeypatch):
    section = next(one for one in SECTIONS if one.header == header)
    key = Number("warmth_c", "how warm it was", -50.0, 90.0, default=20.0, shown=True)
    hidden = Number("damp_percent", "how damp it was", 0.0, 1.0)
    monkeypatch.setitem(vars(section), "keys", (*section.keys, key, hidden))
    text = starting_record()
    assert [line for line in text.splitlines() if line.startswith("warmth_c")] == [
        f"{'warmth_c = 20':<34} # how warm it was"
    ]
    assert "damp_percent" not in text
    assert "| `warmth_c` | a number in °C | 20 | how warm it was |" in with_table(
        README.read_text(encoding="utf-8")
    )
    for written, read in (("20", 20.0), ("31.5\ndamp_percent = 60", 31.5)):
        content = text.replace("warmth_c = 20", f"warmth_c = {written}").encode()
        found = loaded(schema.parse(tmp_path, content))
        assert found["warmth_c"] == read
    assert found["damp_percent"] == 0.6
    with pytest.raises(RecordError, match=r"warmth_c: 1000 is above 90"):
        schema.parse(tmp_path, text.replace("warmth_c = 20", "warmth_c = 1000").encode())


def test_a_key_is_shown_where_its_kind_allows_it(tmp_path, monkeypatch):
    standard = next(one for one in SECTIONS if one.header == "[[standard]]")
    key = Choice("plug", "its plug", among=("N", "B"), default="N", kinds=("open",), shown=True)
    monkeypatch.setitem(vars(standard), "keys", (*standard.keys, key))
    record = schema.parse(tmp_path, starting_record().encode())
    assert [item.more.get("plug") for item in record.standards] == [None, "N", None]
