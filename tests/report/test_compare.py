"""`rfcal compare`: two records, results.json, one part on several days."""

import shutil
from pathlib import Path

import pytest

from rfcal.cli import main
from rfcal.record.job.compute import compute
from rfcal.report.text.device import answers
from tests.record.test_components import FREQUENCY, coil, recorded

pytestmark = pytest.mark.usefixtures("small", "undrawn")


@pytest.fixture
def two(tmp_path):
    for name, impedance in (("a", coil()), ("b", coil() + 0 * FREQUENCY)):
        (tmp_path / name).mkdir()
        recorded(tmp_path / name, impedance, said="temperature_c = 21.0\n")
    return str(tmp_path / "a"), str(tmp_path / "b")


def test_two_days_of_one_coil_agree(two, capsys, tmp_path):
    assert main(["compare", *two, "--output", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert said.startswith("part: both agree: within their uncertainties at 100% of 100 common ")
    assert "% of |Z|, En " in said
    assert "nothing: every influence was taken as each one's own" in said
    assert (tmp_path / "out" / "en-part.svg").read_bytes().startswith(b"<svg")


def test_a_coil_that_was_squeezed_does_not_agree(tmp_path, capsys):
    for name, scale in (("a", 1.0), ("b", 1.3)):
        (tmp_path / name).mkdir()
        recorded(tmp_path / name, coil() * scale)
    assert main(["compare", str(tmp_path / "a"), str(tmp_path / "b")]) == 0
    assert "both DO NOT AGREE" in capsys.readouterr().out


def test_results_json_says_the_same_and_shares_nothing(two, capsys, tmp_path):
    assert main(["report", two[1], "--output", str(tmp_path / "r")]) == 0
    capsys.readouterr()
    told = str(tmp_path / "r" / "results.json")
    assert main(["compare", *two]) == 0
    by_record = capsys.readouterr().out
    assert main(["compare", two[0], told]) == 0
    assert capsys.readouterr().out.splitlines()[:3] == by_record.splitlines()[:3]
    assert main(["compare", two[0], told, "--shared", "load"]) == 2
    assert "there is no standard 'load' here" in capsys.readouterr().err


def test_records_of_one_title_are_told_by_where_they_are(two, capsys):
    assert main(["compare", *two]) == 0
    said = capsys.readouterr().out
    first, second = said.split("first: ")[1].splitlines()[0].split("; second: ")
    assert first.endswith(f", {two[0]}")
    assert second.endswith(f", {two[1]}")


def test_an_answer_is_in_the_words_of_its_own_page(tmp_path, capsys):
    for name in "ab":
        (tmp_path / name).mkdir()
        recorded(tmp_path / name, 1j * coil().imag)
    folders = [str(tmp_path / name) for name in "ab"]
    (own,) = answers(compute(folders[0]).devices[0])
    r = str(own.resistance).removesuffix(" ohm")
    assert r.startswith("below ")  # no resistance is less than nothing
    results = str(tmp_path / "out" / "results.json")
    assert main(["report", folders[1], "--output", str(tmp_path / "out")]) == 0
    for other in (folders[1], results):
        capsys.readouterr()
        assert main(["compare", folders[0], other]) == 0
        assert f"MHz: {r} and {r} ohm, " in capsys.readouterr().out


def test_a_table_has_each_record_and_a_plot(two, capsys, tmp_path):
    assert main(["compare", *two, "--table", "--output", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert said.count("a coil, at 21 °C: 2.") == 2
    assert (tmp_path / "out" / "values-part.svg").exists()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (('name = "part"', 'name = "other"\nanswer_mhz = 9.0'), None),
        (("[record]", "[record]\nreference_ohm = 75.0"), "it is 75 ohm here and 50 ohm in"),
    ],
)
def test_what_cannot_be_compared_is_refused(two, change, sentence, capsys):
    record = Path(two[1]) / "record.toml"
    text = record.read_text().replace("answer_mhz = 10.0\n", "").replace(*change)
    record.write_text(
        text.replace('measurement = "part"', 'measurement = "other"') if sentence is None else text
    )
    status = main(["compare", *two])
    # one device each is compared whatever it is called
    assert status == (0 if sentence is None else 2)
    if sentence:
        assert sentence in capsys.readouterr().err


def test_no_common_frequency_and_no_results_are_refused(two, capsys, tmp_path):
    raw = Path(two[1]) / "part.s1p"
    lines = raw.read_text().splitlines()
    shifted = [f"{float(r.split()[0]) + 5e5:.0f} {' '.join(r.split()[1:])}" for r in lines[1:]]
    raw.write_text("\n".join([lines[0], *shifted]))
    assert main(["compare", *two]) == 2
    assert "no frequency is common to both sweeps" in capsys.readouterr().err
    (tmp_path / "x.json").write_text("[]")
    assert main(["compare", two[0], str(tmp_path / "x.json")]) == 2
    assert "name a record's folder or a results.json" in capsys.readouterr().err
    shutil.rmtree(two[0])
    assert main(["compare", *two, two[1]]) == 2
