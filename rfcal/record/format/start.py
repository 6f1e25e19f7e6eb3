"""The record that ``rfcal new`` writes: it computes as it stands, and explains its own keys."""

import textwrap
from collections.abc import Iterator

from rfcal.record.format.keys import Key, Section
from rfcal.record.format.numbers import Rows
from rfcal.record.format.schema import (
    ABOUT,
    ANALYZER,
    BETWEEN,
    CHECK,
    LINE_CHECK,
    MATCH,
    MEASUREMENT,
    RECORD,
    STANDARD,
)
from rfcal.record.format.texts import Choice

COLUMN, WIDTH = 35, 100
"""Where comments begin, and where lines end."""

INTRO = (
    "A measurement record. It computes as it stands: rfcal report THIS-FOLDER --output OUT",
    "Replace every value by your own. Numbers are SI unless the key says otherwise, every "
    "uncertainty is one standard deviation, and the README's table has all keys.",
)
Values = dict[str, str | tuple[str, str]]
"""Values as TOML writes them, empty for a key's default, with a comment where the key's own will
not do. A name that begins with # is commented out."""

SHOWN: tuple[tuple[Section, Values], ...] = (
    (
        RECORD,
        {"title": '"My first record"', "date": "2026-01-31", "# by": '""', "reference_ohm": ""},
    ),
    (
        ABOUT,
        {
            "instrument": ('"what you read with"', "any key will do; all are shown on the page"),
            "place": '"where the standards and the device were connected"',
        },
    ),
    (ANALYZER, {"noise": "", "connection": "", "resolution_ohm": "", "drift": ""}),
    (
        STANDARD,
        {
            "name": '"short"',
            "kind": '"short"',
            "build": "",
            "inductance": "[0.3e-9]",
            "typed": "[[14.1, 2.6, 9.3]]",
            "# reading": ('"raw/short.s1p"', "or a file: Touchstone of one port, or CSV"),
        },
    ),
    (
        STANDARD,
        {
            "name": '"open"',
            "kind": '"open"',
            "build": "",
            "capacitance": "[50e-15]",
            "typed": "[[14.1, 20.6, -294.3]]",
        },
    ),
    (
        STANDARD,
        {
            "name": '"load"',
            "kind": '"load"',
            "build": "",
            "resistance_ohm": "49.9",
            "resistance_uncertainty_ohm": "0.1",
            "# inductance_uncertainty_h": "0.3e-9",
            "# uncertainty": "0.003",
            "typed": "[[14.1, 51.9, 3.1]]",
        },
    ),
    (
        CHECK,
        {
            "name": '"33 ohm resistor"',
            "build": '"leaded"',
            "resistance_ohm": "33.0",
            "resistance_uncertainty_ohm": "0.1",
            "typed": "[[14.1, 35.6, 7.0]]",
        },
    ),
    (
        MEASUREMENT,
        {"name": '"device"', "typed": "[[14.1, 12.2, -4.6]]", "# answer_mhz": "14.1"},
    ),
)
ASIDE: tuple[tuple[Section, Values], ...] = (
    (BETWEEN, {"line": '"RG-213"', "length_m": "1.20", "length_uncertainty_m": ""}),
    (
        LINE_CHECK,
        {"reading": '"raw/line.s1p"', "baseline": '"raw/line-last-year.s1p"', "line": '"RG-213"'},
    ),
    (MATCH, {"measurement": '"device"', "power_w": "", "target_swr": "", "series": '"E12"'}),
)


def starting_record() -> str:
    """The text of the record, ready to be written."""
    intro = [f"# {line}" for text in INTRO for line in textwrap.wrap(text, WIDTH - 2)]
    said: set[str] = set()
    blocks = [
        [*intro, "format = 1"],
        *(list(_table(section, values, said, "")) for section, values in SHOWN),
        *(list(_table(section, values, said, "# ")) for section, values in ASIDE),
    ]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _table(section: Section, values: Values, said: set[str], mark: str) -> Iterator[str]:
    """Lines of one table; what was said of a table or a key is not said again."""
    if section.header not in said:
        yield from (f"# {line}" for line in textwrap.wrap(section.says, WIDTH - 2))
        said.add(section.header)
    yield f"{mark}{section.header}"
    keys = {key.name: key for key in section.keys}
    for name, value in values.items():
        key = keys.get(name.removeprefix("# "))
        own, comment = value if isinstance(value, tuple) else (value, "")
        if key is not None and key.name not in said:
            comment = comment or _comment(key)
            said.add(key.name)
        yield from _line(f"{mark}{name} = {own or _usual(key)}", comment)


def _usual(key: Key | None) -> str:
    """A key's default as TOML has it."""
    usual = key.usual if key else ""
    return f'"{usual}"' if isinstance(key, Choice) else usual


def _comment(key: Key) -> str:
    """What a key says, and first what is written where that does not show."""
    return f"{key.form}: {key.says}" if isinstance(key, Rows | Choice) else key.says


def _line(entry: str, comment: str) -> Iterator[str]:
    """An entry with its comment beside it, going on below where it is long."""
    first, *more = textwrap.wrap(comment, WIDTH - COLUMN - 2) or [""]
    yield f"{entry:<{COLUMN - 1}} # {first}" if comment else entry
    for row in more:
        yield f"{'':<{COLUMN - 1}} # {row}"
