"""The command line: ``rfcal report | check | plan | new | unpack | verify | correct | compare``."""

import argparse
import io
import logging
import os
import re
import shutil
import sys
import warnings
from collections.abc import Callable, Sequence
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, NoReturn

from rfcal import __version__, interrupt
from rfcal.errors import ArgumentError, RecordError, RfcalError, printable
from rfcal.findings import listed, told_once
from rfcal.record.files import as_typed, earlier_files, report_command, require_place, write_files
from rfcal.record.format.keys import FILE
from rfcal.record.job import compute

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
"""The workbook, where the package is a clone's."""
MOST_NAMED = 13
"""Files that are named one by one where some are written."""
_RECORD, _TO = "the record's folder", "folder to write the record to"
_CURE = "choose another folder, or say --force"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command: 0, 1 where a page does not follow, 2 for a refusal, 130 for Ctrl-C."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal may lack a sign such as ±
            stream.reconfigure(errors="replace")
    if arguments is None:  # this is the command itself: what Python has to say helps nobody there
        warnings.simplefilter("ignore")
        logging.disable()
        os.environ["MPLBACKEND"] = "agg"
    try:
        interrupt.as_ever()
        options = _parser().parse_args(arguments)
        status = options.run(options)
        print(end="", flush=True)
    except RfcalError as error:
        _progress("")
        print(f"rfcal: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        _progress("")
        print("rfcal: stopped", file=sys.stderr)
        exec("")  # Python keeps in mind that one ended a text, and -m would end by the signal
        return interrupt.STATUS
    except OSError as error:
        # all work on files is over or refused by then: only the printing can fail
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):  # whoever read has had enough
            return 0
        print(f"rfcal: cannot print the answer ({error.strerror})", file=sys.stderr)
        return 2
    return status or 0


class _Parser(argparse.ArgumentParser):
    """Refuses as everything here does: one line, in which nothing is forged."""

    def error(self, message: str) -> NoReturn:
        raise ArgumentError(f"{message}; '{self.prog} --help' says what is wanted")


def _path(text: str) -> Path:
    """A file or folder; an empty name would be the folder that one stands in."""
    if not text:
        raise RecordError("''", "", "an empty name is no file and no folder")
    return Path(text)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="rfcal", description="Corrected impedance, and how sure it is, from raw readings."
    )
    parser.add_argument("--version", action="version", version=f"rfcal {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    command = partial(_command, commands)
    add = command(_report, "compute a record and write its page and files", folder=_RECORD)
    _add_output(add)
    command(_check, "judge the readings, checks and devices, and write nothing", folder=_RECORD)
    add = command(
        _plan,
        "say what a record's set-up will be able to say, before anything is read",
        folder=f"{_RECORD}; its readings may be missing",
    )
    add("--mhz", type=float, help="at this frequency, if not the answer's")
    add("--ohm", help="of a device that is this, such as 30-12j, if not of a few")
    add = command(_new, "write a commented record to start from", folder=_TO)
    of_sweeps = "folder of sweeps, to be told apart and copied in"
    add("--from", dest="source", type=_path, help=of_sweeps)
    add("--ask", action="store_true", help="ask for readings off a display, one by one")
    _of_others(command)
    return parser


def _of_others(command: Callable[..., Any]) -> None:
    """Commands on pages, on later sweeps and on several records."""
    command(_unpack, "give back the record that a page carries", page="a report.html", folder=_TO)
    add = command(
        _correct, "apply a record's calibration to sweeps that were taken later", folder=_RECORD
    )
    add("sweeps", type=_path, nargs="+", help="raw readings, Touchstone or CSV")
    add("--like", default="", help="a measurement of the record, whose path lies before these too")
    _add_output(add)
    add = command(
        _verify,
        "compute a page again from what it carries, and say whether it follows",
        file="a report.html or the folder with it, or a results.json",
    )
    other = "page or folder to compute it from, if not that page"
    add("record", type=_path, nargs="?", help=other)
    add = command(_compare, "hold two instruments, or two days, against each other")
    sides = "records' folders, their pages, or results.json of them"
    add("sides", type=_path, nargs="+", help=sides)
    add("--shared", action="append", default=[], help="a standard that was used with both")
    add("--table", action="store_true", help="the parts of all of them, one below the other")
    _add_output(add, required=False)


def _command(commands: Any, run: Callable, says: str, **paths: str) -> Callable[..., Any]:
    """One command with the files and folders that it is of; what adds more arguments to it."""
    one = commands.add_parser(run.__name__[1:], help=says)
    one.set_defaults(run=run)
    for name, what in paths.items():
        one.add_argument(name, type=_path, help=what)
    return one.add_argument


def _add_output(add: Callable[..., Any], *, required: bool = True) -> None:
    add("--output", type=_path, required=required, help="folder for the results")
    add("--force", action="store_true", help="replace results already there")


def _report(options: argparse.Namespace) -> None:
    from rfcal.report.page import output_files
    from rfcal.report.summary import summary_lines
    from rfcal.report.text.match import match_lines

    results = compute.compute(options.folder, say=_progress)
    _progress("figures and tables of the page")
    output = output_files(results, _progress)
    gone = _write(options, output, results, earlier=earlier_files)
    _say(*summary_lines(results), *chain.from_iterable(map(match_lines, results.matches)))
    others = listed([name for name in output if name != "report.html"], MOST_NAMED)
    _say(f"Page: {options.output / 'report.html'} (beside it: {others})")
    if gone:
        _say(f"Taken away, of the earlier report there: {listed([*gone], MOST_NAMED)}")
    if NOTEBOOKS.is_dir():
        _say(f"Workbook: {as_typed('jupyter', 'lab', NOTEBOOKS)}")


def _say(*lines: str) -> None:
    """Print lines of the answer; nothing in a name can forge one."""
    print("\n".join(map(printable, lines)))


def _progress(said: str) -> None:
    """Say what is being done, where somebody waits at a terminal: one line, written over."""
    if sys.stderr.isatty():
        said = printable(said)[: shutil.get_terminal_size().columns - 1]
        print(f"\r\x1b[K{said}", end="", file=sys.stderr, flush=True)


def _write(options: argparse.Namespace, output: dict, results: Any = None, **how: Any) -> list[str]:
    """Write a command's files, over no reading whatever is forced; what it took away."""
    folder = options.output
    if results is not None and folder.resolve() == (source := results.record.folder).resolve():
        raise RecordError(str(folder), "", "this is the record's own folder; choose another one")
    kept = [] if results is None else [(source / name).resolve() for name in results.files]
    for path in (folder / name for name in output):
        if path.resolve() in kept:
            why = "this is a file of the record itself; choose another folder"
            raise RecordError(str(path), "", why)
    _progress(f"writing {listed([*output], MOST_NAMED)}")
    gone = write_files(folder, output, force=options.force, cure=_CURE, **how)
    _progress("")
    return gone


def _check(options: argparse.Namespace) -> None:
    from rfcal.report.summary import check_lines

    results = compute.inspect(options.folder, say=_progress)
    _progress("")
    _say(*check_lines(results))


def _plan(options: argparse.Namespace) -> None:
    from rfcal.readings.rows import HIGHEST_HZ, LOWEST_HZ
    from rfcal.record.job.plan import outlook
    from rfcal.report.summary import plan_lines

    hertz = None if options.mhz is None else options.mhz * 1e6
    if hertz is not None and not LOWEST_HZ <= hertz <= HIGHEST_HZ:
        raise ArgumentError(f"--mhz {options.mhz:g} is no frequency that is measured")
    ohm = None if options.ohm is None else _complex(options.ohm)
    _say(*plan_lines(outlook(options.folder, hertz=hertz, ohm=ohm)))


def _complex(text: str) -> complex:
    """A complex number, the j before or behind its part."""
    try:
        return complex(re.sub(r"j([\d.]+)", r"\1j", text.replace(" ", "")))
    except ValueError:
        raise ArgumentError(f"--ohm '{text}' is no impedance: write it as 30-12j") from None


def _new(options: argparse.Namespace) -> None:
    from rfcal.record.format.start import starting_record

    if options.ask:
        _ask(options.folder)
    elif options.source is None:
        write_files(options.folder, {FILE: starting_record().encode()})
        _say(f"Wrote {options.folder / FILE}: put your own readings in its place, then")
    else:
        _sort_out(options.source, options.folder)
    _say(report_command(options.folder))


def _ask(folder: Path) -> None:
    """Begin a record by questions."""
    from datetime import date

    from rfcal.report.dialog import record_by_questions

    require_place(folder, FILE, "choose another folder")
    try:
        text = record_by_questions(folder.resolve().name, date.today())
    except EOFError:
        raise RecordError(str(folder), "", "the answers ended early: nothing was written") from None
    write_files(folder, {FILE: text.encode()})
    more = "more frequencies as more rows of each reading, and what else is not asked for"
    _say(f"Wrote {folder / FILE}; add there {more}, then")


def _sort_out(source: Path, folder: Path) -> None:
    """Begin a record with the sweeps of a folder, and say what each was taken for."""
    from rfcal.record.job.begin import record_of, sorted_out

    left_out: list[str] = []
    guesses = sorted_out(source, left_out.append)
    write_files(folder, record_of(guesses, folder.resolve().name))
    for guess in guesses:
        _say(f"{guess.kind}: {guess.sweep.label}, {guess.why}")
        if guess.layout.columns:
            _say(f"  its columns were guessed: {guess.layout.words}")
    _say(*left_out, f"Wrote {folder / FILE} with these; correct there what is wrong, then")


def _unpack(options: argparse.Namespace) -> None:
    from rfcal.record.archive import carried_record

    found = carried_record(options.page)
    write_files(options.folder, found)
    _say(f"Wrote to {options.folder}: {listed([*found], MOST_NAMED)}")


def _verify(options: argparse.Namespace) -> int:
    from rfcal.report.verify import verify_file

    _progress("computing it again")
    found = verify_file(options.file, options.record)
    _progress("")
    _say(*found.lines(options.file.name))
    return int(bool(found.differences))


def _compare(options: argparse.Namespace) -> None:
    from rfcal.report import compare

    if not options.table and len(options.sides) != 2:
        raise ArgumentError("two records are compared; --table takes any number")
    sides = [compare.side_of(side) for side in options.sides]
    held = sides[0], sides[-1], options.shared
    table = options.table
    lines = compare.table_lines(sides) if table else compare.compare_lines(*held)
    if options.output is not None:
        pictures = compare.table_pictures(sides) if table else compare.agreement_pictures(*held)
        _write(options, pictures)
        lines.append(f"Wrote to {options.output}: {listed([*pictures], MOST_NAMED)}")
    _say(*lines)


def _correct(options: argparse.Namespace) -> None:
    from datetime import date

    from rfcal.record.job import later_sweeps

    results = compute.compute(options.folder, say=_progress)
    _progress("correcting the new sweeps")
    guessed: list[str] = []
    devices = [*later_sweeps.corrected(results, options.sweeps, options.like, guessed.append)]
    output = dict(later_sweeps.sweep_files(devices))
    _write(options, output, results)
    answers = [f"{d.name}: {d.at(d.frequency[d.answer])}, at {d.plane}" for d in devices]
    _say(
        *later_sweeps.no_path_words(results, options.like),
        *answers,
        later_sweeps.age_words(results, date.today()),
        *guessed,
        *map(str, told_once(later_sweeps.findings(results, devices))),
        f"Wrote to {options.output}: {listed([*output], MOST_NAMED)}",
    )
