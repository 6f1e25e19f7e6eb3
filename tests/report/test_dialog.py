"""A record by questions: judged answer by answer, and the same as a record by hand."""

import io

import pytest

import rfcal
from rfcal.cli import main
from rfcal.errors import ArgumentError
from rfcal.record.job.entries import Entry, judged, ohms, record_text

ANSWERS = {
    "frequency": "14.1",
    "shows": "",
    "short": "2,6 9.3",
    "open": "20.6;-294.3",
    "load ohm": "49.9",
    "load": "51.9 +3.1",
    "check ohm": "33",
    "check": "35.6 7.0",
    "name": "coil",
    "device": "12.2 -4.6",
    "short again": "",
}


@pytest.fixture
def asked(tmp_path, monkeypatch, capsys):
    """Answer all questions; gives what was said, and the folder."""

    def ask(**other):
        lines = [line for name, answer in ANSWERS.items() for line in other.get(name, [answer])]
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        status = main(["new", str(tmp_path / "coil"), "--ask"])
        return status, capsys.readouterr(), tmp_path / "coil"

    return ask


def test_answers_make_a_record_that_computes(asked):
    status, said, folder = asked()
    assert status == 0
    assert "coil at 14.1 MHz: 9.8" in said.out
    assert "check '33 ohm' agrees" in said.out
    results = rfcal.compute(folder)
    device = results.device("coil")
    assert device.at(14.1e6).resistance.value == pytest.approx(9.82, abs=0.1)
    # the digits are those typed: they tell the display's step
    assert "typed = [[14.1, 2.6, 9.3]]" in (folder / "record.toml").read_text()
    assert results.checks[0].agrees


def test_what_is_no_answer_is_asked_again(asked):
    status, said, _ = asked(
        frequency=["fourteen", "14.1"], shows=["7", "1"], device=["12.2", "12.2 j4", "12.2 -4.6"]
    )
    assert status == 0
    assert "a frequency is a number of MHz above zero, found 'fourteen'" in said.out
    assert "one of the numbers of the list" in said.out
    assert "two numbers, R and X, are expected, found '12.2'" in said.out
    assert "'12.2 j4' is not two numbers: type R and X with a space between" in said.out


def test_a_standard_that_is_not_connected_is_doubted_at_once(asked):
    status, said, folder = asked(short=["51 3", "2.6 9.3"])
    assert status == 0
    assert "it reflects 0.03 of what arrives, a short about 1: is it connected" in said.out
    assert "51, 3" not in (folder / "record.toml").read_text()


def test_a_check_and_the_second_reading_may_be_left_out(asked):
    status, _, folder = asked(**{"check ohm": [""], "check": []})
    assert status == 0
    assert not rfcal.compute(folder).checks


def test_answers_that_end_early_leave_nothing(asked):
    status, said, folder = asked(device=[], **{"short again": []})
    assert status == 2
    assert "nothing was written" in said.err
    assert not folder.exists()


def test_a_record_that_is_there_is_not_asked_for_again(asked):
    asked()
    status, said, _ = asked()
    assert status == 2
    assert "Frequency" not in said.out
    assert "already there" in said.err


def test_numbers_are_taken_with_the_digits_that_were_typed():
    text = record_text("007.0", "R and X", [Entry("short", ".50 -0,10")], "x")
    assert "typed = [[7.0, 0.50, -0.10]]" in text
    for wrong in ("-3", "0", "x", ">99", ""):
        with pytest.raises(ArgumentError, match="a resistance is a number of ohms above zero"):
            ohms(wrong)


@pytest.mark.parametrize(
    ("kind", "cells", "fits"),
    [("open", "20.6 -294.3", True), ("open", "51.9 3.1", False), ("load", "9000 5", False)],
)
def test_one_reading_is_judged_by_itself(kind, cells, fits):
    assert (judged("R and X", Entry(kind, cells)) == "") is fits
