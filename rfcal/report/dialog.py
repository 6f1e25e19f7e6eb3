"""A record by questions in a terminal: each answer is judged before the next is asked for."""

from collections.abc import Callable, Mapping
from datetime import date

from rfcal.defaults import CHECK_WORDS
from rfcal.errors import RfcalError
from rfcal.record.job import entries
from rfcal.record.job.entries import KINDS, SHOWS, Entry
from rfcal.report.summary import summary_lines

ASKED = {
    "short": "Connect the short where the device will be",
    "open": "Leave it open, or connect the open",
    "load": "Connect the load",
    "check": f"Connect a resistor of another make, {CHECK_WORDS}",
    "device": "Connect the device",
    "short again": "Connect the short in the device's place, with nothing taken off",
}
"""What is to be done before each reading."""
STEPS = (
    *("frequency", "shows", "short", "open", "load ohm", "load"),
    *("check ohm", "check", "name", "device", "short again"),
)
"""What is asked for, in this order."""


class _BackError(Exception):
    """The reader wants the previous question again."""


def record_by_questions(title: str, on: date) -> str:
    """Ask for everything, show the answer, and give the record's text."""
    print("Switch the instrument's own correction off. A decimal comma is as good as a point.")
    print("Answer 'back' to return to the previous question.")
    said: dict[str, str] = {}
    # no check is read without its ohms
    while step := next((s for s in STEPS if s not in said and said.get(f"{s} ohm", s)), ""):
        try:
            said[step] = _asked(step, said)
        except _BackError:
            if said:
                said.popitem()
        except RfcalError as error:
            print(f"  {error}")
        except (ValueError, KeyError):
            print("  one of the numbers of the list is expected")
    return entries.record_text(said["frequency"], said["shows"], _known(said), title, on)


def _known(said: Mapping[str, str]) -> list[Entry]:
    """The readings so far."""
    return [_entry(kind, said[kind], said) for kind in KINDS if said.get(kind)]


def _entry(kind: str, cells: str, said: Mapping[str, str]) -> Entry:
    return Entry(kind, cells, said.get(f"{kind} ohm", ""), said["name"] if kind == "device" else "")


def _ask(question: str) -> str:
    """One answer as it is typed."""
    text = input(question).strip()
    if text.lower() == "back":
        raise _BackError
    return text


def _asked(step: str, said: Mapping[str, str]) -> str:
    """The answer to one question, checked and doubted where there is cause."""
    if step == "frequency":
        typed = entries.megahertz_of(_ask("Frequency in MHz: "))
        return _doubted(typed, entries.unit_doubt, entries.megahertz_of)
    if step == "shows":
        names = dict(enumerate(SHOWS, start=1))
        for number, name in names.items():
            print(f"  {number}  {name}")
        return names[int(_ask("What the display shows [1]: ") or 1)]
    if step == "load ohm":
        return entries.ohms(_ask("The load's ohms by ohmmeter [50]: ") or "50")
    if step == "check ohm":
        typed = _ask("A resistor to check with: its ohms by ohmmeter (Enter: none): ")
        return _doubted(entries.ohms(typed), entries.check_doubt, entries.ohms) if typed else ""
    if step == "name":
        return _ask("Name of the device [device]: ") or "device"
    return _read(step, said)


def _doubted(typed: str, doubt: Callable[[str], str], checked: Callable[[str], str] = str) -> str:
    """An answer, asked for again as long as there is a doubt that the reader does not dismiss."""
    while why := doubt(typed):
        again = _ask(
            f"  Look again: {why} (Enter: leave it; or type it again; 'back': the one before): "
        )
        if not again:
            break
        typed = checked(again)
    return typed


def _read(kind: str, said: Mapping[str, str]) -> str:
    """The numbers of one reading, judged by themselves and beside those before."""
    shows, before = said["shows"], _known(said)
    what = " and ".join(SHOWS[shows])
    may_lack = kind == "short again"
    cells = _ask(f"{ASKED[kind]}. {what}{' (Enter: not now)' if may_lack else ''}: ")
    if may_lack and not cells:
        return ""
    cells = _doubted(cells, lambda text: entries.judged(shows, _entry(kind, text, said)))

    def beside(text: str) -> str:
        results = entries.computed(said["frequency"], shows, [*before, _entry(kind, text, said)])
        for line in summary_lines(results)[1:] if results else ():
            if not line.startswith("note: "):
                print(f"  {line}")
        wrong = kind == "check" and results and not results.checks[0].agrees
        return "the check does not agree, do you want to read it again?" if wrong else ""

    return _doubted(cells, beside)
