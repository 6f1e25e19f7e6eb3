"""The record that ``rfcal new`` writes: it computes as it stands, and explains its own keys."""

import json
import textwrap
from collections.abc import Iterable, Iterator

from rfcal.defaults import CHECK_WORDS
from rfcal.record.format.kinds import Choice, Rows
from rfcal.record.format.schema import SECTIONS

COLUMN, WIDTH = 35, 100
"""Where comments begin, and where lines end."""

INTRO = (
    "A measurement record. It computes as it stands: rfcal report THIS-FOLDER --output OUT",
    "Replace every value by your own. Numbers are SI unless the key says otherwise, every "
    "uncertainty is one standard deviation, and the README's table has all keys.",
    "The least set that lets a mistake show: three standards, a check of another make "
    f"{CHECK_WORDS}, a standard read again at the end, and behind a path a check in the device's "
    "place. rfcal plan THIS-FOLDER says before you read how sure the answer will be.",
)
SHOWN = """\
[record]
title = "My first record"
date = 2026-01-31
# by = ""

[about]
instrument = "what you read with"  # any key will do; all are shown on the page
place = "where the standards and the device were connected"

[analyzer]
resolution_ohm

[[standard]]
name = "short"
kind = "short"
build
inductance = [0.3e-9]
typed = [[14.1, 2.6, 9.3]]
# reading = "raw/short.s1p"  # or a file: Touchstone of one port, or CSV

[[standard]]
name = "open"
kind = "open"
build
capacitance = [50e-15]
typed = [[14.1, 20.6, -294.3]]

[[standard]]
name = "load"
kind = "load"
build
resistance_ohm = 49.9
resistance_uncertainty_ohm = 0.1
# inductance_uncertainty_h = 0.3e-9
# uncertainty = 0.003
typed = [[14.1, 51.9, 3.1]]

[[check]]
name = "33 ohm resistor"
build = "leaded"
resistance_ohm = 33.0
resistance_uncertainty_ohm = 0.1
typed = [[14.1, 35.6, 7.0]]

[[measurement]]
name = "device"
typed = [[14.1, 12.2, -4.6]]
# answer_mhz = 14.1

# [[measurement.between]]
# line = "RG-213"
# length_m = 1.20
# length_uncertainty_m

# [[check]]
# name = "120 ohm resistor in the device's place"
# at = "device"
# resistance_ohm = 120.0
# reading = "raw/120-ohm.s1p"

[[reread]]
of = "short"
typed = [[14.1, 2.6, 9.2]]

# [line_check]
# reading = "raw/line.s1p"
# baseline = "raw/line-last-year.s1p"
# line = "RG-213"

# [match]
# measurement = "device"
# power_w
# target_swr
# series = "E12"
"""
"""Tables and keys that are shown: a key alone has its default, and a comment of its own only where
what the key says will not do. Keys that are `shown` follow where they may first stand."""


def starting_record(shown: str = SHOWN) -> str:
    """The text of the record, ready to be written; `shown` as `SHOWN`."""
    intro = [f"# {line}" for text in INTRO for line in textwrap.wrap(text, WIDTH - 2)]
    said: set[str] = set()
    tables = ["\n".join(_table(rows.splitlines(), said)) for rows in shown.split("\n\n")]
    return "\n\n".join(["\n".join([*intro, "format = 1"]), *tables]) + "\n"


def begun_record(title: str, tables: Iterable[str], dated: str = "") -> str:
    """The text of a record of these tables, as `SHOWN` has them."""
    head = f"[record]\ntitle = {json.dumps(title, ensure_ascii=False)}\n{dated}"
    return starting_record("\n".join([head, "[analyzer]\n", *tables]))


def item_rows(kind: str, said: str, name: str = "", of: str = "short") -> str:
    """One table as `SHOWN` has it: of a check, a device, a standard of a kind, or a reread."""
    if kind == "reread":
        return f'[[reread]]\nof = "{of}"\n{said}'
    if kind in ("check", "device"):
        header = "check" if kind == "check" else "measurement"
        return f"[[{header}]]\nname = {json.dumps(name)}\n{said}"
    return f'[[standard]]\nname = "{kind}"\nkind = "{kind}"\n{said}'


def _table(rows: list[str], said: set[str]) -> Iterator[str]:
    """Lines of one table; what was said of a table or a key is not said again."""
    header = rows[0].removeprefix("# ")
    section = next(one for one in SECTIONS if one.header == header)
    if header not in said:
        yield from (f"# {line}" for line in textwrap.wrap(section.says, WIDTH - 2))
        said.add(header)
    yield rows[0]
    keys = {key.name: key for key in section.keys}
    kinds = [row.split('"')[1] for row in rows if row.startswith("kind = ")] or section.kinds
    aside = "# " if rows[0].startswith("# ") else ""
    shown = [key for key in section.keys if key.shown and key.name not in said]
    shown = [key for key in shown if not key.kinds or set(key.kinds) & set(kinds)]
    for row in (*rows[1:], *(aside + key.name for key in shown)):
        entry, _, comment = row.partition("  # ")
        name = entry.removeprefix("# ").split(" = ")[0]
        key = keys.get(name)
        if key is not None and name not in said:
            told = isinstance(key, Rows | Choice)  # what is written does not show from the default
            comment = comment or (f"{key.wanted}: {key.says}" if told else key.says)
            said.add(name)
        if " = " not in entry:
            usual = keys[name].usual
            entry += f' = "{usual}"' if isinstance(keys[name].default, str) else f" = {usual}"
        # the comment stands beside it, and goes on below where it is long
        first, *more = textwrap.wrap(comment, WIDTH - COLUMN - 2) or [""]
        yield f"{entry:<{COLUMN - 1}} # {first}" if comment else entry
        yield from (f"{'':<{COLUMN - 1}} # {line}" for line in more)
