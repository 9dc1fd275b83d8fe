"""What can be wrong, and what to do about it: every room refuses in the same voice."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong: where it stands, what was found there, and what to do.

    >>> print(Problem("records/crew2.csv row 41, column Lat", "'4O.123' is not a number", "write digits only"))
    records/crew2.csv row 41, column Lat: '4O.123' is not a number; write digits only
    """

    where: str
    found: str
    do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.found}; {self.do}"


class AsBuiltError(Exception):
    """The input or the call is wrong and nothing was written. Holds every problem, not the first one."""

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class SettingsError(AsBuiltError):
    """`route.toml` or a procedure file asks for something that is not allowed."""


class InputError(AsBuiltError):
    """A file of records, or a column of it, cannot be read as it stands."""


class AlignmentError(AsBuiltError):
    """The design file does not hold one continuous line."""


class FrameError(AsBuiltError):
    """A coordinate frame cannot be used, or the way between two frames is not known well enough."""


class OutputError(AsBuiltError):
    """The folder asked for cannot be written, or is not ours to replace."""


class NotBuiltError(AsBuiltError):
    """The contract names it, and this version does not do it yet."""
