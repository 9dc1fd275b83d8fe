"""Small tables: their rows one after the other, and as texts under headings, the same wherever they are shown."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

WIDTH = 118  # letters: what a terminal and a sheet of paper have room for


def each(frame: pd.DataFrame) -> Iterator[Any]:
    """Return the rows of a table, their values by the names of the columns."""
    return iter(frame.itertuples(index=False))


@dataclass(frozen=True)
class Table:
    """Texts under headings: the first `words` columns are words, the others numbers and dates. A heading may have
    several lines. `notes` are sentences that stand below."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 1
    notes: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """The table in lines of equal letters, its notes folded."""
        shown = columns(self.head, self.rows, self.words) if self.rows else []
        return [*([f"{self.title}:"] if self.title else []), *shown, *folded(self.notes)]


def columns(head: Sequence[str], rows: Sequence[Sequence[str]], words: int = 1) -> list[str]:
    """Return rows of texts under a heading, in columns: the first `words` ones begin together, the others end together.

    >>> columns(["a", "b\\nc"], [["xx", "1"], ["y", "22"]])
    ['     b', 'a    c', 'xx   1', 'y   22']
    """
    split = [text.split("\n") for text in head]
    high = max(map(len, split))
    heads = zip(*([""] * (high - len(lines)) + lines for lines in split), strict=True)
    every = [*map(list, heads), *rows]
    widths = [max(len(row[i]) for row in every) for i in range(len(head))]
    return [
        "  ".join(
            c.ljust(w) if i < words else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in every
    ]


def folded(sentences: Sequence[str]) -> list[str]:
    """Return sentences in lines of at most `WIDTH` letters; what goes on is set in by two."""
    folds = (textwrap.wrap(s, WIDTH, subsequent_indent="  ", break_on_hyphens=False) for s in sentences)
    return [line for lines in folds for line in lines]
