"""A record by questions: judged answer by answer, and the same as a record by hand."""

import io

import pytest

import rfcal
from rfcal.cli import main
from rfcal.errors import ArgumentError
from rfcal.record.job.begin import doubt, record_text, toml_answer, typed_pair

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


def off_display(**said):
    """Answers of a display of R and X."""
    return {"shows": "R and X", **said}


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
    assert "coil at 14.1 MHz: R 9.8" in said.out
    assert "check '33 ohm' agrees" in said.out
    results = rfcal.compute(folder)
    # how it is built was not asked
    assert "check-same-build" not in {finding.code for finding in results.findings}
    device = results.device("coil")
    assert device.at(14.1e6).resistance.value == pytest.approx(9.82, abs=0.1)
    # the digits are those typed: they tell the display's step
    written = (folder / "record.toml").read_text()
    assert "typed = [[14.1, 2.6, 9.3]]" in written
    # one frequency was asked for: more of them are more rows
    assert "add there more frequencies as more rows" in said.out
    assert "X ohm, such as [[7.05,48.2,-3.1]," in written
    assert results.checks[0].agrees


def test_what_is_no_answer_is_asked_again(asked):
    status, said, _ = asked(
        frequency=["fourteen", "14.1"],
        shows=["7", "0", "1"],
        device=["12.2", "12.2 j4", "12.2 -4.6"],
    )
    assert status == 0
    assert "MHz above zero, found 'fourteen'. Type it again" in said.out
    assert said.out.count("one of the numbers of the list") == 2
    assert "two numbers, R and X, are expected, found '12.2'" in said.out
    assert "R and X, are expected, found '12.2 j4': type them with a space between" in said.out


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
    text = record_text(off_display(frequency="007.0", short=".50 -0,10"), "x")
    assert "typed = [[7.0, 0.50, -0.10]]" in text
    for wrong in ("-3", "0", "x", ">99", ""):
        with pytest.raises(ArgumentError, match="a number of ohms above zero"):
            toml_answer("load ohm", wrong)


@pytest.mark.parametrize(
    ("kind", "cells", "fits"),
    [("open", "20.6 -294.3", True), ("open", "51.9 3.1", False), ("load", "9000 5", False)],
)
def test_one_reading_is_judged_by_itself(kind, cells, fits):
    assert (doubt(kind, off_display(**{kind: cells})) == "") is fits


@pytest.mark.parametrize(
    ("cells", "taken"),
    [
        ("2.7, 2.5", ("2.7", "2.5")),
        ("2,7, 2,5", ("2.7", "2.5")),
        ("2 , 5", ("2", "5")),
        ("43.4-19j", ("43.4", "-19")),
        ("43.4 - j19", ("43.4", "-19")),
        ("-43,4 + J19,5", ("-43.4", "19.5")),
        ("43.4 ohm -19 ohm", ("43.4", "-19")),
        ("> 999 > 999", ('">999"', '">999"')),
        (">999, >999", ('">999"', '">999"')),
    ],
)
def test_a_reading_is_taken_as_people_write_it(cells, taken):
    assert typed_pair(cells, "R and X") == taken


def test_a_sign_is_not_made_up_where_the_display_has_none():
    with pytest.raises(ArgumentError, match=r"43\.4-19j"):
        typed_pair("43.4-19j", "R and X without its sign")


@pytest.mark.parametrize("said", ["49.9 ohm", "49,9 Ohms", "49.9 \u03a9", "49.9\u2126"])
def test_a_resistance_may_have_its_unit(said):
    assert toml_answer("load ohm", said) == "49.9"


def test_doubts_of_one_answer():
    assert "if it was read in kHz, it is 14.1 MHz" in doubt("frequency", {"frequency": "14100"})
    assert "if it was read in Hz, it is 14.1 MHz" in doubt("frequency", {"frequency": "14100000"})
    assert "if it was read in kHz, it is 1.85 MHz" in doubt("frequency", {"frequency": "1850"})
    assert not any(doubt("frequency", {"frequency": mhz}) for mhz in ("14.1", "1296"))
    assert "4.7 ohm is not within 10 to 200" in doubt("check ohm", {"check ohm": "4,7"})
    assert doubt("check ohm", {"check ohm": "33"}) == ""


def test_a_frequency_in_kilohertz_is_asked_for_again_at_once(asked):
    status, said, folder = asked(frequency=["14100", "14,1"])
    assert status == 0
    assert said.out.count("it is 14.1 MHz") == 1
    assert "[[14.1, 12.2, -4.6]]" in (folder / "record.toml").read_text()


def test_a_frequency_that_is_right_however_high_is_asked_about_once(asked):
    status, said, folder = asked(frequency=["2450", ""])
    assert status == 0
    assert said.out.count("it is 2.45 MHz") == 1
    assert "[[2450, 12.2, -4.6]]" in (folder / "record.toml").read_text()


def test_back_returns_to_the_question_before(asked):
    status, said, folder = asked(
        frequency=["back", "21"],
        shows=["back", "14.1", "1"],
        open=["20.6 -290", "back", "20.6;-294.3"],
        device=["back", "new name", "12.2 -4.6"],
    )
    assert status == 0
    assert said.out.count("'back'") == 1
    text = (folder / "record.toml").read_text()
    assert "typed = [[14.1, 20.6, -294.3]]" in text
    assert "-290" not in text
    assert 'name = "new name"' in text


def test_back_passes_over_what_was_not_asked(asked):
    status, _, folder = asked(
        **{"check ohm": [""], "check": [], "name": ["back", "33", "35.6 7.0", "coil"]}
    )
    assert status == 0
    assert len(rfcal.compute(folder).checks) == 1


def test_a_check_that_does_not_agree_may_be_read_again(asked):
    status, said, folder = asked(check=["51 3", "35.6 7.0"])
    assert status == 0
    assert said.out.count("do you want to read it again?") == 1
    assert rfcal.compute(folder).checks[0].agrees
    assert "[[14.1, 51, 3]]" not in (folder / "record.toml").read_text()


def test_a_check_that_says_little_is_doubted(asked):
    status, said, folder = asked(**{"check ohm": ["3300 ohm", "33 ohm"]})
    assert status == 0
    assert "3300 ohm is not within 10 to 200" in said.out
    assert 'name = "33 ohm"' in (folder / "record.toml").read_text()


def test_sizes_that_nothing_has_together_are_refused_at_their_row(asked):
    _, said, _ = asked(shows=["3"], short=["9.7 20.0"], open=["295 2.0", "295 87.0"])
    asked_then, told = said.out.split("the open: |Z| of 295 ohm has an SWR of 5.9 or more", 1)
    assert "Connect the load" not in asked_then
    assert "Type it again, or 'back' for the one before." in told


def test_a_display_of_sizes_is_asked_through_to_its_record(asked):
    sizes = {"short": "9.7 19.90", "open": "295.0 86.92", "load": "52.0 1.07"}
    sizes |= {"check": "36.3 1.46", "device": "13.0 4.14", "short again": "9.7 19.90"}
    status, said, folder = asked(shows=["3"], **{kind: [cells] for kind, cells in sizes.items()})
    assert status == 0
    assert "Type it again" not in said.out
    assert "check '33 ohm' agrees" in said.out
    # without signs two answers remain: one of them is that of R and X
    device = rfcal.compute(folder).device("coil")
    both = [device.impedance.value[0], device.other.impedance.value[0]]
    assert min(abs(z - (9.82 - 14.36j)) for z in both) < 0.4
