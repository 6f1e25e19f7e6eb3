"""The README's table of keys, out of their descriptions.

``python -m rfcal.record.format.readme README.md`` writes it anew between its two markers.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from rfcal.record.format.keys import Key, Section
from rfcal.record.format.schema import SECTIONS, TOP

BEGIN, END = "<!-- keys: begin -->", "<!-- keys: end -->"
FEW = 6
"""From so many on, keys that stand in an earlier table too are not named one by one."""
HEAD = "| table | key | value | where absent | meaning |\n| --- | --- | --- | --- | --- |\n"


def with_table(readme: str) -> str:
    """The text of a README with the table of keys written anew between its markers."""
    before, rest = readme.split(BEGIN)
    after = rest.split(END)[1]
    said: list[Key] = []
    rows = "".join(row for section in (TOP, *SECTIONS) for row in _rows(section, said))
    return f"{before}{BEGIN}\n{HEAD}{rows}{END}{after}"


def _rows(section: Section, said: list[Key]) -> Iterator[str]:
    """Rows of one table; keys that another table has too are only named."""
    title = f"`{section.header}` " if section.header else "(top) "
    if section.says:
        yield f"| {title}| | | | {section.says} |\n"
        title = ""
    again = [key for key in section.keys if any(key is one for one in said)]
    for key in section.keys:
        if key not in again:
            meaning = f"{_of(section, key)}{key.says}".replace("|", "\\|")
            form = key.form.replace("|", "\\|")
            yield f"| {title}| `{key.name}` | {form} | {key.usual} | {meaning} |\n"
            title = ""
    if again:
        names = ", ".join(f"`{key.name}`" for key in again)
        yield f"| | {names if len(again) < FEW else 'all others'} | | | as above |\n"
    said.extend(section.keys)


def _of(section: Section, key: Key) -> str:
    """Of which kinds of its table a key is, where not of all."""
    return f"*{', '.join(key.kinds)}:* " if 0 < len(key.kinds) < len(section.kinds) else ""


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(with_table(path.read_text(encoding="utf-8")), encoding="utf-8")
