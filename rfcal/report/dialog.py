"""A record by questions in a terminal: each answer is judged before the next is asked for."""

from datetime import date

from rfcal.defaults import CHECK_WORDS, LOAD_OHM
from rfcal.errors import RfcalError
from rfcal.record.job import begin
from rfcal.record.job.begin import DIALOG_STEPS, SHOWS, TO_READ, Said
from rfcal.report.summary import summary_lines

ASKED = {
    "frequency": "Frequency in MHz",
    "shows": "What the display shows [1]",
    "short": "Connect the short where the device will be. {numbers}",
    "open": "Leave it open, or connect the open. {numbers}",
    "load ohm": f"The load's ohms by ohmmeter [{LOAD_OHM:g}]",
    "load": "Connect the load. {numbers}",
    "check ohm": f"A check, a resistor of another make than the load, {CHECK_WORDS}: its ohms by "
    "ohmmeter (Enter: none)",
    "check": "Connect that resistor. {numbers}",
    "name": "Name of the device [device]",
    "device": "Connect the device. {numbers}",
    "short again": "Connect the short in the device's place, with nothing taken off. {numbers} "
    "(Enter: not now)",
}
"""The question of each step."""
USUAL = {"shows": "1", "load ohm": f"{LOAD_OHM:g}", "name": "device"}
"""What Enter alone answers."""
MAY_LACK = ("check ohm", "short again")


class _BackError(Exception):
    """The reader wants the previous question again."""


def record_by_questions(title: str, on: date) -> str:
    """Ask for everything, show the answer, and give the record's text."""
    print("Switch the instrument's own correction off. A decimal comma is as good as a point.")
    print("Answer 'back' to return to the previous question.")
    said: dict[str, str] = {}
    # no check is read without its ohms
    while step := next((s for s in DIALOG_STEPS if s not in said and said.get(f"{s} ohm", s)), ""):
        try:
            said[step] = _asked(step, said)
        except _BackError:
            if said:
                said.popitem()
        except RfcalError as error:
            print(f"  {error}. Type it again, or 'back' for the one before.")
        except (ValueError, KeyError):
            print("  one of the numbers of the list is expected")
    return begin.record_text(said, title, on)


def _ask(question: str) -> str:
    """One answer as it is typed."""
    text = input(f"{question}: ").strip()
    if text.lower() == "back":
        raise _BackError
    return text


def _asked(step: str, said: Said) -> str:
    """The answer to one question, judged by itself and beside those before."""
    ways = dict(enumerate(SHOWS, start=1))
    for number, name in ways.items() if step == "shows" else ():
        print(f"  {number}  {name}")
    shown = " and ".join(SHOWS.get(said.get("shows", ""), ()))
    typed = _ask(ASKED[step].format(numbers=shown)) or USUAL.get(step, "")
    if step == "shows":
        return ways[int(typed)]
    if step in MAY_LACK and not typed:
        return ""
    typed = begin.toml_answer(step, typed)
    for doubt in (begin.doubt, _beside):
        while why := doubt(step, {**said, step: typed}):
            look = (
                f"  Look again: {why} (Enter: leave it; or type it again; 'back': the one before)"
            )
            if not (again := _ask(look)):
                break
            typed = begin.toml_answer(step, again)
    return typed


def _beside(step: str, said: Said) -> str:
    """Say what a reading and those before come to; a doubt where a check does not agree."""
    results = begin.computed(said) if step in TO_READ else None
    for line in summary_lines(results)[1:] if results else ():
        if not line.startswith("note: "):
            print(f"  {line}")
    wrong = step == "check" and results and not results.checks[0].agrees
    return "the check does not agree, do you want to read it again?" if wrong else ""
