"""The results in a few lines, for a terminal."""

from rfcal.record.findings.devices import why_wrong
from rfcal.record.results import Results
from rfcal.report.text import device as words
from rfcal.report.text import line as line_words
from rfcal.report.text.components import part_lines


def summary_lines(results: Results) -> list[str]:
    """The answers, the checks and all that is to be said, in this order."""
    said = [f"{results.record.title} ({results.record.date or 'no date'})"]
    line = [] if results.line is None else line_words.line_lines(results.line)
    if results.record.line_first:
        said += line
    said += [line for part in results.parts for line in part_lines(part)]
    for device in results.devices:
        told, other = words.answer(device), words.other_answer(device)
        both = {key: ", or ".join(one[key] for one in (told, other) if one) for key in told}
        if doubt := why_wrong(results.findings, device.name):
            said.append(f"do not trust what follows yet: {doubt}")
        if len(results.devices) > words.MOST_SHOWN:
            said.append(f"{told['name']} at {told['at']}: {both['ohm']}")
            continue
        raw = f"; the raw reading was {told['raw']}" if told["raw"] else ""
        said += [
            f"{told['name']} at {told['at']}: {both['impedance']}",
            f"  {told['ohm']}{told['each']}",
            *([f"  or {other['ohm']}"] if other else []),
            f"  SWR {both['swr']}{raw}",
            *([f"  {told['path']}"] if told["path"] else []),
            f"  largest source of uncertainty of {told['sources']}",
        ]
    said += [*map(words.check_line, results.checks), *map(words.reread_line, results.rereads)]
    if not results.record.line_first:
        said += line
    # the line's state is told above
    return said + [str(f) for f in results.findings if f"{line_words.STATE}{f.message}" not in line]
