"""A fusing procedure as windows over wall, size and ambient, each limit with its source.

The tables are data (`*.toml` beside this file, or a project's own); the arithmetic is here. A limit is a number, or
pieces, each over one recorded quantity: a polynomial, points with straight lines between them, or steps. A piece may
ask for a second quantity (`where`), which makes a table of two ways. The last piece that fits decides.
"""

import difflib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import BeforeValidator, Field, ValidationError, model_validator

from asbuilt.errors import Problem, SettingsError
from asbuilt.fields import FIELDS
from asbuilt.quantities import UnitError, convert
from asbuilt.window import Data, Quantity, Span, Values

Status = Literal["project", "read", "second-hand", "from memory"]


Pair = tuple[float, float]


class Piece(Span):
    """One piece of a limit over the quantity `over`, of one form, for rows that also lie `where` it says."""

    polynomial: tuple[float, ...] = ()  # constant first
    points: tuple[Pair, ...] = ()  # straight lines between; nothing before the first and behind the last
    steps: tuple[Pair, ...] = ()  # each up to and including its first number; nothing above the last
    at_most: float = np.inf
    where: tuple[Span, ...] = ()
    source: str = ""  # both only where they differ from those of the window
    status: Status | None = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        pairs = np.array(self.points or self.steps or [(0.0, 0.0)])
        if sum(map(bool, (self.polynomial, self.points, self.steps))) != 1 or (np.diff(pairs[:, 0]) <= 0).any():
            raise ValueError("one of polynomial, points and steps, the last two in rising order")
        return self

    @property
    def needs(self) -> tuple[str, ...]:
        """The quantities that have to be known: none for a number that holds everywhere."""
        return (() if len(self.polynomial) == 1 and not self.says else (self.over,)) + tuple(s.over for s in self.where)

    def limit(self, values: Values, size: int) -> np.ndarray:
        """Return the limit, shape (size,), NaN where the piece has none."""
        here = np.ones(size, dtype=bool)
        for span in self.where:
            here &= span.holds(span.of(values, size))
        x = self.of(values, size)
        if self.over in self.needs:
            here &= self.holds(x)
        return np.where(here, np.minimum(self._at(x), self.at_most), np.nan)

    def _at(self, x: np.ndarray) -> np.ndarray:
        if self.polynomial:
            flat = np.zeros_like(x) if len(self.polynomial) == 1 else x
            return np.polynomial.polynomial.polyval(flat, self.polynomial)
        at, limit = np.array(self.points or self.steps).T
        if self.points:
            return np.interp(x, at, limit, left=np.nan, right=np.nan)
        return np.append(limit, np.nan)[np.searchsorted(at, x, side="left")]


def _pieces(value: Any) -> Any:
    return [{"over": "wall", "polynomial": [value]}] if isinstance(value, int | float) else value


Side = Annotated[tuple[Piece, ...], BeforeValidator(_pieces)]


class Correction(Data):
    """So many percent on a least value for each unit of `over` away from the reference, outside `within` of it.

    What it adds is required; what it takes off is allowed and no more: somebody has to decide to use it.
    """

    over: Quantity
    reference: float
    within: float
    percent: float

    def factor(self, values: Values, size: int) -> np.ndarray:
        """Return what the least value is multiplied by, shape (size,), NaN where the quantity was not recorded."""
        away = Span(over=self.over).of(values, size) - self.reference
        return np.where(np.abs(away) <= self.within, 1.0, 1.0 + self.percent / 100 * away)


@dataclass(frozen=True, eq=False)
class Limits:
    """The window of each row, shapes (n,). NaN in `low` and `high` is an open side, or a limit that is not known."""

    low: np.ndarray
    high: np.ndarray
    known: np.ndarray
    why_not: np.ndarray  # texts; empty where known
    none: np.ndarray  # the procedure has no window for such a joint
    factor: np.ndarray  # by the correction; `low` has it where it is more than 1
    status: np.ndarray
    source: np.ndarray


class ProcedureWindow(Data):
    """The window of one quantity: two sides, each open, fixed or in pieces, with where it was read."""

    check: Quantity
    name: str = ""  # of a table that is not applied
    unit: str = ""
    low: Side = ()
    high: Side = ()
    pressure: Literal["gauge", "interfacial", ""] = ""
    elsewhere: Literal["cannot tell", "no window"] = "cannot tell"  # where no piece fits
    correction: Correction | None = None
    source: str = Field(min_length=1)
    status: Status

    @model_validator(mode="after")
    def _holds(self) -> Self:
        unit = FIELDS[self.check].unit
        try:
            convert(np.zeros(1), self.unit or unit, unit) if unit else None
        except UnitError as error:
            raise ValueError(f"{self.check}: {error}") from error
        if not (self.low or self.high):
            raise ValueError(f"{self.check}: neither low nor high is given")
        return self

    @property
    def needs(self) -> tuple[str, ...]:
        """The quantities that the limits are computed from."""
        corrected = (self.correction.over,) if self.correction else ()
        return tuple(dict.fromkeys([n for p in (*self.low, *self.high) for n in p.needs] + list(corrected)))

    def limits(self, of: Values, title: str = "") -> Limits:
        """Return the window of each row, in the stored unit of the check; `title` goes before each source."""
        size = len(next(iter(of.values())))
        (low, low_by), (high, high_by) = (_side(side, of, size) for side in (self.low, self.high))
        lacking = _lacking(self.needs, of, size)
        fits = ~(np.isnan(low) & bool(self.low) | np.isnan(high) & bool(self.high))
        why_not = lacking.copy()
        why_not[~fits & (lacking == "")] = f"the procedure has no limit for this {_named(self.needs)}"
        factor = self.correction.factor(of, size) if self.correction else np.ones(size)
        return Limits(
            low=self._stored(low) * np.fmax(factor, 1.0),
            high=self._stored(high),
            known=why_not == "",
            why_not=why_not,
            none=~fits & (lacking == "") & (self.elsewhere == "no window"),
            factor=factor,
            status=self._said("status", low_by, high_by),
            source=self._said("source", low_by, high_by, title),
        )

    def _stored(self, value: np.ndarray) -> np.ndarray:
        unit = FIELDS[self.check].unit
        return convert(value, self.unit or unit, unit) if unit else value

    def _said(self, what: str, low_by: np.ndarray, high_by: np.ndarray, title: str = "") -> np.ndarray:
        """Return the source or status of each row: of the piece that decided where it has one of its own."""
        said = np.full(len(low_by), title + getattr(self, what), dtype=object)
        for side, by in ((self.low, low_by), (self.high, high_by)):
            for i, piece in enumerate(side):
                if getattr(piece, what):
                    said[by == i] = title + getattr(piece, what)
        return said


def _side(side: Side, of: Values, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the limit of each row and which piece gave it (-1: none)."""
    value, by = np.full(size, np.nan), np.full(size, -1)
    for i, piece in enumerate(side):
        limit = piece.limit(of, size)
        value, by = np.where(np.isnan(limit), value, limit), np.where(np.isnan(limit), by, i)
    return value, by


def _named(names: Sequence[str]) -> str:
    return " and ".join(name.replace("_", " ") for name in names)


def _lacking(names: Sequence[str], of: Values, size: int) -> np.ndarray:
    """Say of each row which of the quantities are not known, empty where all are."""
    code = np.zeros(size, dtype=int)
    for i, name in enumerate(names):
        code += np.isnan(Span(over=name).of(of, size)).astype(int) << i
    subsets = [[n for i, n in enumerate(names) if c >> i & 1] for c in range(1 << len(names))]
    texts = [f"{_named(s)} {'is' if len(s) == 1 else 'are'} not known" if s else "" for s in subsets]
    return np.array(texts, dtype=object)[code]


class Further(Data):
    """What a procedure asks for and a record has no field for: told, not judged."""

    quantity: str = Field(min_length=1)
    says: str = Field(min_length=1)
    source: str = Field(min_length=1)
    status: Status


class Procedure(Data):
    """A named procedure and edition with its windows."""

    name: str = Field(min_length=1)
    edition: str = Field(min_length=1)
    pressure: Literal["gauge", "interfacial"] = "interfacial"
    applies: tuple[Span, ...] = ()  # which joints it covers
    window: tuple[ProcedureWindow, ...] = Field(min_length=1)
    alternative: tuple[ProcedureWindow, ...] = ()  # tables in print that disagree with a window; never applied
    further: tuple[Further, ...] = ()

    @model_validator(mode="after")
    def _one_window_each(self) -> Self:
        checks = [w.check for w in self.window]
        twice = [f"{check} has two windows" for i, check in enumerate(checks) if check in checks[:i]]
        if twice:
            raise ValueError("; ".join(twice))
        return self

    @property
    def title(self) -> str:
        """Name and edition, as every output writes it."""
        return f"{self.name} ({self.edition})"

    def not_covered(self, of: Values) -> np.ndarray:
        """Say of each row why the procedure does not cover it, empty where it does; shape (n,)."""
        size = len(next(iter(of.values())))
        said = _lacking([span.over for span in self.applies], of, size)
        for span in self.applies:
            x = span.of(of, size)
            unit, name = span.unit or FIELDS[span.over].unit, span.over.replace("_", " ")
            distinct, at = np.unique(x, return_inverse=True)
            texts = [f"{self.name} covers a {name} {span.says}, and here it is {v:g} {unit}".strip() for v in distinct]
            out = ~np.isnan(x) & ~span.holds(x)
            said = np.where(out, np.array(texts, dtype=object)[at], said)
        return said


@cache
def shipped() -> Mapping[str, str]:
    """Return the text of each shipped procedure by its name."""
    files = sorted((f for f in resources.files(__name__).iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    texts = [f.read_text(encoding="utf-8") for f in files]
    return {tomllib.loads(text)["name"]: text for text in texts}


def load(asked: str, folder: Path) -> Procedure:
    """Return the procedure named `asked`: a shipped one, or a TOML file of the route. Raises SettingsError."""
    known = shipped()
    if asked in known:
        return _checked(known[asked], asked)
    path = folder / asked
    if path.suffix == ".toml" and path.is_file() and path.resolve().is_relative_to(folder.resolve()):
        return _checked(path.read_text(encoding="utf-8-sig"), asked)
    near = difflib.get_close_matches(asked, known, n=1, cutoff=0.5)
    every = f"shipped: {', '.join(known)}; or a TOML file in the route folder"
    do = f"the nearest shipped is {near[0]!r}" if near else every
    raise SettingsError(Problem("route.toml: window.procedure", f"no procedure {asked!r}", do))


def _checked(text: str, where: str) -> Procedure:
    try:
        return Procedure(**tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(Problem(where, f"not TOML: {error}", "mend that line")) from error
    except ValidationError as error:
        places = [(".".join(str(p) for p in e["loc"]), e["msg"].removeprefix("Value error, ")) for e in error.errors()]
        raise SettingsError(
            [Problem(f"{where}: {key}", "not as a procedure has it", says) for key, says in places]
        ) from error
