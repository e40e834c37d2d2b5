"""Every exception the program raises on purpose.

    WearviewError            one line: "FILE: problem. Remedy."
    +-- PhotoError           a photo could not be read (also a ValueError)
    +-- CallError            the call itself was wrong: an unknown name, a bad value (also a ValueError)
    |   +-- CleanReferenceError   the clean reference cannot serve
    +-- ModelsError          a rules or colour file is damaged (also a ValueError)
    +-- OutputError          a result could not be written (also an OSError)
        +-- StoreError       the record could not be opened, read or written

A photo that cannot be graded is a result with problems, never an exception.
"""


class WearviewError(Exception):
    """What went wrong, with which file, and what to do about it.

    Parameters
    ----------
    subject : str
        The file or name as the user typed it.
    problem : str
        What is wrong, without a full stop.
    remedy : str
        What to do, one sentence without its full stop; may be empty.
    """

    def __init__(self, subject: str, problem: str, remedy: str = "") -> None:
        self.subject, self.problem, self.remedy = subject, problem, remedy
        super().__init__(subject, problem, remedy)

    def __str__(self) -> str:
        # A file name may hold a newline or an escape sequence; the message stays one printable line.
        line = f"{self.subject}: {self.problem}." + (f" {self.remedy}." if self.remedy else "")
        return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in line)


class PhotoError(WearviewError, ValueError):
    """A photo that could not be read."""


class CallError(WearviewError, ValueError):
    """A call that asks for something that does not exist or makes no sense."""


class CleanReferenceError(CallError):
    """A clean reference that cannot serve: no lining in it, or too dark to compare with."""


class ModelsError(WearviewError, ValueError):
    """A rules or colour file that cannot be parsed."""


class OutputError(WearviewError, OSError):
    """A result that could not be written."""

    def __str__(self) -> str:  # OSError has its own idea of a message
        return WearviewError.__str__(self)


class StoreError(OutputError):
    """A record that could not be opened, read or written."""
