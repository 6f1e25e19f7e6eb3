"""Pipes, devices, links and names that are none: refused, never waited for, obeyed or shown."""

import io
import os
import subprocess
import sys

import pytest

from rfcal.cli import main
from rfcal.errors import SCREEN, RfcalError
from tests.record.conftest import bend

pytestmark = pytest.mark.usefixtures("undrawn")

FORGED = "x\n\x1b[31merror: forged\u202e"


def said_by(capsys, arguments, status=2):
    assert main([str(a) for a in arguments]) == status
    return capsys.readouterr().err


@pytest.fixture
def pipe(tmp_path):
    os.mkfifo(tmp_path / "pipe.s1p")
    return tmp_path / "pipe.s1p"


@pytest.mark.parametrize(
    "arguments",
    [
        ["report", "", "--output", "o"],
        ["report", "typed", "--output", ""],
        ["report", "typed", "--output="],
        ["check", ""],
        ["new", ""],
        ["new", "x", "--from", ""],
        ["unpack", "", "o"],
        ["unpack", "page", ""],
        ["verify", ""],
        ["correct", "typed", "", "--output", "o"],
    ],
)
def test_an_empty_name_is_no_folder(typed, monkeypatch, capsys, arguments):
    monkeypatch.chdir(typed)
    before = sorted(typed.iterdir())
    assert said_by(capsys, arguments) == "rfcal: '': an empty name is no file and no folder\n"
    assert sorted(typed.iterdir()) == before


def test_new_advises_nothing_that_it_does_not_take(typed, capsys):
    said = said_by(capsys, ["new", typed])
    assert "already there" in said
    assert "--force" not in said
    (typed / "o").mkdir()
    (typed / "o/report.html").touch()
    assert "say --force" in said_by(capsys, ["report", typed, "--output", typed / "o"])


def test_pipes_are_not_waited_for(pipe, filed, tmp_path, capsys):
    os.rename(filed / "record.toml", tmp_path / "kept")
    os.mkfifo(filed / "record.toml")
    for arguments in (
        ["check", filed],
        ["unpack", pipe, tmp_path / "back"],
        ["verify", pipe],
        ["verify", tmp_path / "kept", pipe],
    ):
        assert "pipe" in said_by(capsys, arguments)
    os.replace(tmp_path / "kept", filed / "record.toml")
    assert "pipe" in said_by(capsys, ["correct", filed, pipe, "--output", tmp_path / "o"])
    os.mkfifo(filed / "raw/pipe")
    bend(filed, "raw/device.s1p", "raw/pipe")
    assert "no file 'raw/pipe' in the record's folder (a folder or a pipe" in said_by(
        capsys, ["check", filed]
    )
    bend(filed, "raw/pipe", "raw")
    assert "no file 'raw' in the record's folder (a folder or" in said_by(capsys, ["check", filed])
    assert said_by(capsys, ["unpack", "/dev/zero", tmp_path / "back"])


def test_a_pipe_where_output_goes(pipe, typed, tmp_path, capsys):
    assert "folder is needed" in said_by(capsys, ["report", typed, "--output", pipe])
    (tmp_path / "o/.rfcal-writing").mkdir(parents=True)
    os.mkfifo(tmp_path / "o/.rfcal-writing/lock")
    assert "delete it" in said_by(capsys, ["report", typed, "--output", tmp_path / "o"])


def test_a_record_that_is_a_link_to_another_folder(typed, filed, capsys):
    (typed / "record.toml").rename(typed / "mine.toml")
    os.symlink("mine.toml", typed / "record.toml")
    assert main(["check", str(typed)]) == 0
    (typed / "record.toml").unlink()
    os.symlink(filed / "record.toml", typed / "record.toml")
    assert "outside" in said_by(capsys, ["check", typed])
    (typed / "record.toml").unlink()
    os.symlink("record.toml", typed / "record.toml")
    assert "cannot be read" in said_by(capsys, ["check", typed])


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", FORGED],
        ["report", "typed", "--output", "o", FORGED],
        [FORGED],
        ["verify", FORGED],
        ["new", f"typed/record.toml/{FORGED}"],
        ["report", "typed", "--output", "n" * 5000],
    ],
)
def test_names_cannot_forge_a_line(typed, monkeypatch, capsys, arguments):
    monkeypatch.chdir(typed.parent)
    said = said_by(capsys, arguments)
    assert said.startswith("rfcal: ")
    assert said.endswith("\n")
    assert said[:-1].isprintable()
    assert len(said) < SCREEN


def test_what_is_printed_cannot_forge_a_line(typed, tmp_path, capsys):
    assert main(["new", str(tmp_path / FORGED)]) == 0
    assert main(["check", str(tmp_path / FORGED)]) == 0
    assert main(["report", str(typed), "--output", str(tmp_path / "o" / FORGED)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert all(line.isprintable() for line in lines)
    assert not [line for line in lines if line.startswith("error")]


def test_progress_shows_names_as_they_are_and_no_more_than_a_line(typed, monkeypatch, capsys):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    bend(typed, '"device"', f'"{"n" * 300}"')
    monkeypatch.setattr("sys.stderr", Terminal())
    assert main(["report", str(typed), "--output", str(typed / FORGED)]) == 0
    steps = sys.stderr.getvalue().split("\r\x1b[K")
    assert all(len(step) < 80 and step.isprintable() for step in steps)


def test_messages_end():
    assert len(str(RfcalError("x " * 100_000))) <= SCREEN
    assert "x" * 100 not in str(RfcalError("a " + "x" * 10_000 + " b"))[150:]
    said = str(RfcalError(f"{'deep/' * 30}file.s1p: a sentence of common length"))
    assert "..." not in said


def test_python_warnings_never_reach_the_terminal(typed, tmp_path):
    code = (
        "import warnings, rfcal.cli, rfcal.record.job.compute as job\n"
        "load = job.schema.load\n"
        "job.schema.load = lambda *a: (warnings.warn('loud'), load(*a))[1]\n"
        "raise SystemExit(rfcal.cli.main())"
    )
    command = [sys.executable, "-c", code, "check", str(typed)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stderr == ""
