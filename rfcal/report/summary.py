"""The results in a few lines, for a terminal."""

from rfcal.record.findings.devices import why_wrong
from rfcal.record.results import Results
from rfcal.report.text import device as words
from rfcal.report.text import line as line_words
from rfcal.report.text.components import part_lines
from rfcal.report.text.readings import finding_lines
from rfcal.uncertainty.words import mhz


def summary_lines(results: Results) -> list[str]:
    """The answers, the checks and all that is to be said, in this order."""
    said = [f"{results.record.title} ({results.record.date or 'no date'})"]
    line = [] if results.line is None else line_words.line_lines(results.line)
    if results.record.line_first:
        said += line
    said += [line for part in results.parts for line in part_lines(part)]
    for device in results.devices:
        if doubt := why_wrong(results.findings, device.name):
            said.append(f"do not trust what follows yet: {doubt}")
        answer, *more = words.answer_lines(results, device)
        said.append(f"{device.name} at {mhz(device.frequency[device.answer])}: {answer}")
        if len(results.devices) <= words.MOST_SHOWN:
            said += [f"  {line}" for line in more]
    said += [*map(words.check_line, results.checks), *map(words.reread_line, results.rereads)]
    if not results.record.line_first:
        said += line
    # the line's state is told above
    loud = [f for f in results.findings if f"{line_words.STATE}{f.message}" not in line]
    return said + finding_lines(loud)
