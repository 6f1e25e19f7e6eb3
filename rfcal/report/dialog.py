"""A record by questions in a terminal: each answer is judged before the next is asked for."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from typing import TypeVar

from rfcal.errors import RfcalError
from rfcal.record.job import entries
from rfcal.record.job.entries import KINDS, SHOWS, Entry
from rfcal.report.summary import summary_lines

Answer = TypeVar("Answer")
ASKED = {
    "short": "Connect the short where the device will be",
    "open": "Leave it open, or connect the open",
    "load": "Connect the load",
    "check": "Connect a resistor of another make, between 10 and 200 ohm and not 25, 50 or 100",
    "device": "Connect the device",
    "short again": "Connect the short once more",
}
"""What is to be done before each reading."""


def record_by_questions(title: str, on: date) -> str:
    """Ask for everything, show the answer, and give the record's text."""
    print("Switch the instrument's own correction off. A decimal comma is as good as a point.")
    megahertz = _until(lambda: entries.megahertz_of(input("Frequency in MHz: ")))
    for number, name in enumerate(SHOWS, start=1):
        print(f"  {number}  {name}")
    shows = _until(lambda: list(SHOWS)[int(input("What the display shows [1]: ") or 1) - 1])
    known: list[Entry] = []
    for kind in KINDS:
        found = _asked(kind, megahertz, shows, known)
        known += [found] if found else []
    return entries.record_text(megahertz, shows, known, title, on)


def _asked(kind: str, megahertz: str, shows: str, known: Sequence[Entry]) -> Entry | None:
    """One reading, and what is to be known of it; None where it is left out."""
    name = ohm = ""
    if kind == "check":
        question = "A resistor to check with: its ohms by ohmmeter (Enter: none): "
        ohm = _until(lambda: entries.ohms(text) if (text := input(question).strip()) else "")
        if not ohm:
            return None
    if kind == "load":
        ohm = _until(lambda: entries.ohms(input("The load's ohms by ohmmeter [50]: ") or "50"))
    if kind == "device":
        name = input("Name of the device [device]: ").strip() or "device"
    return _until(partial(_read, Entry(kind, "", ohm, name), megahertz, shows, known))


def _read(entry: Entry, megahertz: str, shows: str, known: Sequence[Entry]) -> Entry | None:
    """The numbers of one reading, judged by themselves and beside those before."""
    what = " and ".join(SHOWS[shows])
    may_lack = entry.kind == "short again"
    cells = input(f"{ASKED[entry.kind]}. {what}{' (Enter: not now)' if may_lack else ''}: ")
    if may_lack and not cells.strip():
        return None
    entry = replace(entry, cells=cells)
    while doubt := entries.judged(shows, entry):
        again = input(f"  Look again: {doubt} (Enter: they are, or type them again): ")
        if not again.strip():
            break
        entry = replace(entry, cells=again)
    results = entries.computed(megahertz, shows, [*known, entry])
    if results:
        said = summary_lines(results)[1:]
        print("\n".join(f"  {line}" for line in said if not line.startswith("note: ")))
    return entry


def _until(ask: Callable[[], Answer]) -> Answer:
    """Ask again until there is an answer that can be used."""
    while True:
        try:
            return ask()
        except RfcalError as error:
            print(f"  {error}")
        except (ValueError, IndexError):
            print("  one of the numbers of the list is expected")
