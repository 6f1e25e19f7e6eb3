"""Everything that rfcal may say of a record besides the answer: one entry for each, by subject.

Whether it is said is decided in the module of the subject, which calls the entry with the values
that its sentence has places for.
"""

from dataclasses import dataclass, replace

from rfcal.findings import Finding


@dataclass(frozen=True)
class Entry:
    """One kind of finding; ``about`` and ``sentence`` have places for values in braces."""

    code: str
    severity: str
    about: str
    sentence: str

    def __call__(self, **values: object) -> Finding:
        """The finding with its values."""
        about, message = self.about.format(**values), self.sentence.format(**values)
        return Finding(self.code, self.severity, about, message)


def warning(head: str, sentence: str) -> Entry:
    """What should be looked after; the head is a code and what it is about."""
    code, about = head.split(": ")
    return Entry(code, "warning", about, sentence)


def note(head: str, sentence: str) -> Entry:
    """What is good to know; the head is a code and what it is about."""
    return replace(warning(head, sentence), severity="note")
