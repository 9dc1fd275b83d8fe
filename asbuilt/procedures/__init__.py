"""A fusing procedure as windows over wall, size and ambient, each limit with its source.

The tables are data (`*.toml` beside this file, or a project's own); the arithmetic is here. A piece of a limit is a
polynomial of one recorded quantity, in the stored unit of that quantity.
"""

import difflib
import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator

from asbuilt.errors import Problem, SettingsError
from asbuilt.fields import FIELDS, is_quantity, stored_as
from asbuilt.quantities import UnitError, convert

Status = Literal["project", "read", "second-hand", "from memory"]


def _quantity(name: str) -> str:
    if not is_quantity(name):
        raise ValueError(f"{name!r} is no quantity of a record")
    return name


Quantity = Annotated[str, AfterValidator(_quantity)]


class _Data(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Piece(_Data):
    """One piece of a limit: a polynomial of `over`, for `from` <= over < `below`."""

    over: Quantity
    polynomial: tuple[float, ...] = Field(min_length=1)
    from_: float = Field(default=-np.inf, alias="from")
    below: float = np.inf
    at_most: float = np.inf


def _pieces(value: Any) -> Any:
    return [{"over": "wall", "polynomial": [value]}] if isinstance(value, int | float) else value


Side = Annotated[tuple[Piece, ...], BeforeValidator(_pieces)]


class ProcedureWindow(_Data):
    """The window of one quantity: two sides, each open, fixed or in pieces, with where it was read."""

    check: Quantity
    unit: str = ""
    low: Side = ()
    high: Side = ()
    pressure: Literal["gauge", "interfacial", ""] = ""
    source: str = Field(min_length=1)
    status: Status

    @property
    def needs(self) -> tuple[str, ...]:
        """The quantities that the limits are computed from."""
        return tuple(dict.fromkeys(p.over for p in (*self.low, *self.high) if len(p.polynomial) > 1))

    def limits(self, of: Mapping[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return low, high and whether they could be computed, shape (n,), in the stored unit of the check.

        `of` maps a stored column (`wall_mm`) to its values. An open side is NaN and computable.
        """
        size = len(next(iter(of.values())))
        low, low_known = self._side(self.low, of, size)
        high, high_known = self._side(self.high, of, size)
        return low, high, low_known & high_known

    def _side(self, side: Side, of: Mapping[str, np.ndarray], size: int) -> tuple[np.ndarray, np.ndarray]:
        value = np.full(size, np.nan)
        for piece in side:
            if len(piece.polynomial) == 1 and np.isinf(piece.from_) and np.isinf(piece.below):
                value[:] = piece.polynomial[0]
                continue
            x = of[stored_as(piece.over)]
            here = (x >= piece.from_) & (x < piece.below)
            value[here] = np.minimum(np.polynomial.polynomial.polyval(x[here], piece.polynomial), piece.at_most)
        return self._stored(value), ~np.isnan(value) if side else np.ones(size, dtype=bool)

    def _stored(self, value: np.ndarray) -> np.ndarray:
        unit = FIELDS[self.check].unit
        return convert(value, self.unit, unit) if unit else value


class Procedure(_Data):
    """A named procedure and edition with its windows."""

    name: str = Field(min_length=1)
    edition: str = Field(min_length=1)
    pressure: Literal["gauge", "interfacial"] = "interfacial"
    window: tuple[ProcedureWindow, ...] = Field(min_length=1)

    @field_validator("window")
    @classmethod
    def _windows_hold(cls, windows: tuple[ProcedureWindow, ...]) -> tuple[ProcedureWindow, ...]:
        faults = [
            f"{w.check} has two windows" for i, w in enumerate(windows) if w.check in [v.check for v in windows[:i]]
        ]
        for w in windows:
            try:
                convert(np.zeros(1), w.unit or "mm", FIELDS[w.check].unit) if FIELDS[w.check].unit else None
            except UnitError as error:
                faults.append(f"{w.check}: {error}")
            faults += [f"{w.check}: neither low nor high is given"] if not (w.low or w.high) else []
        if faults:
            raise ValueError("; ".join(faults))
        return windows

    @property
    def title(self) -> str:
        """Name and edition, as every output writes it."""
        return f"{self.name} ({self.edition})"


def shipped() -> dict[str, str]:
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
    do = (
        f"the nearest shipped is {near[0]!r}"
        if near
        else f"shipped: {', '.join(known)}; or a TOML file in the route folder"
    )
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
