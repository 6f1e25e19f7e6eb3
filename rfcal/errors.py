"""The exceptions of rfcal: one base, few kinds, one clear sentence each."""

SCREEN, WORD = 1200, 200
"""Letters of a message, and of one word in it (a path, a name), that are shown at most."""


def printable(text: str) -> str:
    """A line for a terminal: nothing in it that is obeyed or not seen, nothing endless."""
    line = "".join(c if c.isprintable() else " " for c in text)
    if len(line) > WORD:
        line = " ".join(_cut(word, WORD) for word in line.split(" "))
    return _cut(line, SCREEN)


def _cut(text: str, most: int) -> str:
    """Text without its middle where it is too long."""
    return text if len(text) <= most else f"{text[: most // 2]}...{text[4 - most // 2 :]}"


class RfcalError(Exception):
    """Base of every error that rfcal raises on purpose.

    Parameters
    ----------
    message : str
        One sentence: what was found, what was expected, what to do. It is put on one line, signs
        that are not printable (from a name, say) become spaces, and what is endless is cut.

    Examples
    --------
    >>> import rfcal
    >>> try:
    ...     rfcal.Standard("lod")
    ... except rfcal.RfcalError as refusal:
    ...     print(refusal)
    the kind of a standard is 'lod', and one of 'short', 'open', 'load' is expected
    """

    def __init__(self, message: str):
        super().__init__(" ".join(printable(message).split()))


class ArgumentError(RfcalError, ValueError):
    """A class or a function was given what it cannot mean.

    Parameters
    ----------
    message : str
        One sentence: what was found and what was expected.
    """


class CalibrationError(RfcalError):
    """The standards cannot fix the error terms, or do not reach the frequencies asked for.

    Parameters
    ----------
    message : str
        One sentence naming standards, frequencies and the cure.
    """


class NotThisLineError(CalibrationError):
    """Sweeps that cannot be those of a line with its far end open or short.

    Parameters
    ----------
    message : str
        One sentence: what shows it and what to look at.
    """


class ReadingError(RfcalError):
    """A file of readings, or typed readings, cannot be taken.

    Parameters
    ----------
    file : str
        The file as the user knows it.
    message : str
        One sentence: what is wrong and what was expected.
    line : int, optional
        Line of the file, counted from 1.
    """

    def __init__(self, file: str, message: str, line: int | None = None):
        self.file, self.line = file, line
        place = file if line is None else f"{file}, line {line}"
        super().__init__(f"{place}: {message}")


class RecordError(RfcalError):
    """A record, or the place its results should go to, is not as it must be.

    Parameters
    ----------
    file : str
        The record's file or folder as the user knows it.
    key : str
        The key, such as ``standard[2].kind``; empty where no key is at fault.
    message : str
        One sentence: what is wrong and what was expected.
    """

    def __init__(self, file: str, key: str, message: str):
        self.file, self.key = file, key
        place = f"{file}, {key}" if key else file
        super().__init__(f"{place}: {message}")


class MatchingError(RfcalError):
    """A load, or a band, that a network cannot match.

    Parameters
    ----------
    message : str
        One sentence: what is out of reach and what reaches it.
    """
