"""Files are written as one set or not at all: killed, interrupted, twice at once, mixed."""

import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from rfcal.cli import main
from rfcal.errors import RecordError
from rfcal.record import files
from rfcal.record.files import write_files
from rfcal.record.job import compute
from tests.record.conftest import bend

pytestmark = pytest.mark.usefixtures("undrawn")

ROOT = Path(__file__).parents[2]
OLD = {"a": b"old", "raw/b": b"old", "c": b"old", "gone": b"old", "raw/gone": b"old"}
NEW = dict.fromkeys(["a", "raw/b", "c", "d"], b"new")
KILLS = """
import os, random, signal, sys, time
from pathlib import Path
from rfcal.errors import RecordError
from rfcal.record.files import write_files

folder, names, left = Path(sys.argv[1]), ["a", "raw/b", "c"], 0
(folder / "foreign").write_text("mine")
write_files(folder, dict.fromkeys(names, b""))
random.seed(1)
for run in range(100):
    child = os.fork()
    while not child:
        run += 1
        own = f"only-{run}"
        of_set = lambda folder: [path.name for path in folder.glob("only-*")]
        content = {name: [str(run).encode()] * 100 for name in (*names, own)}
        write_files(folder, content, force=True, earlier=of_set)
    time.sleep(random.uniform(0.002, 0.02))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    left += (folder / ".rfcal-writing").exists()
    try:
        write_files(folder, {"a": b"never"})
    except RecordError as error:
        assert "already there" in str(error), error
    kept = [*names, *(p.name for p in folder.glob("only-*"))]
    (said,) = {(folder / name).read_text() for name in kept}
    assert set(kept[3:]) <= {f"only-{said[:len(said) // 100]}"}, (run, kept)
    assert {p.name for p in folder.iterdir()} == {"a", "raw", "c", "foreign", *kept[3:]}, run
assert left > 20, left
"""


def held(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
def test_after_kills_at_random_moments_the_next_run_makes_the_set_whole(tmp_path):
    subprocess.run([sys.executable, "-c", KILLS, str(tmp_path)], check=True)


def of_old(folder):
    return list(OLD)


@pytest.mark.parametrize("at", range(9))
def test_ctrl_c_at_any_move_leaves_the_old_set(tmp_path, monkeypatch, at):
    write_files(tmp_path, OLD)
    moves, replace = [], os.replace

    def interrupted(source, target):
        moves.append(target)
        if len(moves) == at + 1:
            raise KeyboardInterrupt
        replace(source, target)

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_files(tmp_path, NEW, force=True, earlier=of_old)
    assert held(tmp_path) == OLD
    assert not (tmp_path / files.ASIDE).exists()


@pytest.mark.parametrize("kind", [KeyboardInterrupt, MemoryError, OSError])
def test_a_stop_while_the_content_is_made_leaves_nothing(tmp_path, kind):
    def content():
        yield b"begun"
        raise kind

    with pytest.raises((kind, RecordError)):
        write_files(tmp_path / "new/deep", {"a": b"1", "b": content()})
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("at", range(4, 10))
def test_a_stop_while_undoing_is_made_good_by_the_next_run(tmp_path, monkeypatch, at):
    write_files(tmp_path, OLD)
    moves, replace = [], os.replace

    def stopped(source, target):
        moves.append(target)
        if len(moves) >= at:
            raise KeyboardInterrupt
        replace(source, target)

    with monkeypatch.context() as m:
        m.setattr(os, "replace", stopped)
        with pytest.raises(KeyboardInterrupt):
            write_files(tmp_path, NEW, force=True, earlier=of_old)
    assert (tmp_path / files.ASIDE).exists()
    with pytest.raises(RecordError, match="already there"):
        write_files(tmp_path, OLD)
    assert held(tmp_path) == NEW


def test_a_prepared_folder_leads_nothing_outside(tmp_path):
    folder, outside = tmp_path / "o", tmp_path / "outside"
    outside.mkdir()
    (folder / files.ASIDE / files.READY / "raw").mkdir(parents=True)
    (folder / files.ASIDE / files.READY / "raw/evil").write_text("x")
    os.symlink(outside, folder / "raw")
    with pytest.raises(RecordError, match="outside"):
        write_files(folder, {"a": b"1"})
    assert not list(outside.iterdir())


def test_a_run_that_ends_while_another_begins_is_told_of(tmp_path, monkeypatch):
    make = Path.mkdir

    def gone(path, *how, **more):
        make(path, *how, **more)
        if path.name == files.ASIDE:  # as its owner does at its end
            path.rmdir()

    monkeypatch.setattr(Path, "mkdir", gone)
    with pytest.raises(RecordError, match="another run is writing"):
        write_files(tmp_path, {"a": b"1"})


def test_two_runs_at_once_do_not_mix(tmp_path):
    def content():
        with pytest.raises(RecordError, match="another run is writing"):
            write_files(tmp_path, OLD, force=True)
        yield b"mine"

    write_files(tmp_path, {"a": content(), "c": b"mine"})
    assert held(tmp_path) == {"a": b"mine", "c": b"mine"}


def test_ctrl_c_is_one_line(typed, tmp_path, monkeypatch, capsys):
    def stopped(*arguments, **how):
        raise KeyboardInterrupt

    monkeypatch.setattr(compute, "compute", stopped)
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 128 + signal.SIGINT
    assert capsys.readouterr().err == "rfcal: stopped\n"
    assert not (tmp_path / "o").exists()


def test_ctrl_c_within_a_text_that_python_runs_ends_with_the_same_status(tmp_path):
    """As a library's import does; Python's own end of ``-m`` would be the signal."""
    text = """
import sys
from rfcal import cli
from rfcal.record.job import compute
compute.inspect = lambda *_, **__: exec("raise KeyboardInterrupt")
sys.exit(cli.main(["check", "."]))
"""
    (tmp_path / "stopped_within.py").write_text(text)
    run = subprocess.run(
        [sys.executable, "-m", "stopped_within"], cwd=tmp_path, capture_output=True, text=True
    )
    assert (run.returncode, run.stderr) == (128 + signal.SIGINT, "rfcal: stopped\n")


@pytest.mark.parametrize("how", ["script", "-m"])
@pytest.mark.parametrize("wait_s", [0, 0.03, 0.1, 0.4])
def test_ctrl_c_is_one_line_while_the_command_loads(typed, tmp_path, wait_s, how):
    """From the first line of the package on; before that it is Python's own start."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    module, function = project["scripts"]["rfcal"].split(":")
    script = tmp_path / "rfcal"
    script.write_text(f"from {module} import {function}\nraise SystemExit({function}())\n")
    loads = [script] if how == "script" else ["-m", "rfcal"]
    command = [sys.executable, "-X", "importtime", *loads, "report", typed, "--output", tmp_path]
    # a shell's background job ignores Ctrl-C, and what it starts inherits that
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as run:
        signal.signal(signal.SIGINT, before)
        next(line for line in run.stderr if line.endswith("rfcal.interrupt\n"))
        time.sleep(wait_s)
        run.send_signal(signal.SIGINT)
        said = [line for line in run.stderr.read().splitlines() if "import time:" not in line]
    assert said == ["rfcal: stopped"]
    assert run.returncode == 128 + signal.SIGINT
    assert not (tmp_path / "report.html").exists()


def test_each_file_tells_of_which_record_it_is(filed, tmp_path):
    told = []
    for title, value in (("files", "0.1"), ("other", "0.1"), ("other", "0.2")):
        bend(filed, filed.joinpath("record.toml").read_text().split('"')[1], title)
        (filed / "raw/device.s1p").write_text(f"# Hz S RI R 50\n55e6 {value} 0\n")
        output = tmp_path / title / value
        assert main(["report", str(filed), "--output", str(output)]) == 0
        told.append(json.loads((output / "results.json").read_text())["record"]["fingerprint"])
        assert all(told[-1] in path.read_text() for path in output.iterdir())
    assert len(set(told)) == 3


def test_a_forced_report_leaves_one_set_and_what_others_put_there(filed, tmp_path, capsys):
    output = tmp_path / "out"
    command = ["report", str(filed), "--output", str(output)]
    assert main(command) == 0
    earlier = {path.name for path in output.iterdir()}
    (old,) = (output / name for name in earlier if name.endswith(".s1p"))
    assert "Taken away" not in capsys.readouterr().out
    copy, own = output / "copy-of-mine.s1p", output / "notes.txt"
    copy.write_bytes(old.read_bytes())
    own.write_text("mine")
    bend(filed, 'name = "device"', 'name = "renamed"')
    assert main(command) == 2
    assert main([*command, "--force"]) == 0
    assert f"of the earlier report there: {old.name}" in capsys.readouterr().out
    assert {path.name for path in output.iterdir()} == {
        *("report.html", "results.json", "renamed.s1p", copy.name, own.name)
    }
    bend(filed, 'name = "renamed"', 'name = "again"')
    (output / "renamed.s1p").write_text("! not of rfcal any more")
    assert main([*command, "--force"]) == 0
    assert (output / "renamed.s1p").exists()
