"""Distance along the line <-> the label that a person reads, across chainage equations.

Labels jump, lengths do not: every calculation is done on the distance, and a label is only ever text.
`chainage` below is the distance along the line plus its start, in metres, before equations. A label is its value
after equations, written as whole station lengths, a plus sign, and the rest: 1+256.02.
"""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np

_HAIR_M = 1e-6  # stated values are sums of decimals: an equation must be met by its own text


@dataclass(frozen=True, kw_only=True)
class ChainageEquation:
    """A point where the stated chainage jumps from `back_m` to `ahead_m`. `back_m` is read in the region it ends."""

    back_m: float
    ahead_m: float

    @property
    def jump_m(self) -> float:
        """Positive for a gap in the labels, negative for an overlap."""
        return self.ahead_m - self.back_m


@dataclass(frozen=True, kw_only=True)
class Stationing:
    """How labels are written on one line: unit, length of a station, decimals, start, and equations in order."""

    station_length_m: float = 1000.0
    metres_per_unit: float = 1.0  # 0.3048 or 1200/3937 where stations are in feet
    decimals: int = 2
    start_m: float = 0.0
    equations: tuple[ChainageEquation, ...] = ()

    @property
    def breaks_m(self) -> np.ndarray:
        """Chainage (before equations) of each equation, shape (equations,)."""
        jumps = np.cumsum([0.0] + [e.jump_m for e in self.equations])[:-1]
        return np.array([e.back_m for e in self.equations]) - jumps

    def stated_m(self, chainage_m: np.ndarray) -> np.ndarray:
        """Return the stated value of each chainage, metres, same shape. At an equation itself the back value is read.

        >>> s = Stationing(equations=(ChainageEquation(back_m=1200, ahead_m=1250),))
        >>> s.stated_m(np.array([1100.0, 1200.0, 1201.0]))
        array([1100., 1200., 1251.])
        """
        jumps = np.cumsum([0.0] + [e.jump_m for e in self.equations])
        return chainage_m + jumps[np.searchsorted(self.breaks_m, chainage_m, side="left")]

    def labels(self, chainage_m: np.ndarray) -> np.ndarray:
        """Return the label of each chainage as text; empty where it is not finite. Shape as given.

        >>> list(Stationing(station_length_m=100).labels(np.array([835.67, -145.67, np.nan])))
        ['8+35.67', '-1+45.67', '']
        """
        stated = self.stated_m(np.asarray(chainage_m, dtype="float64")) / self.metres_per_unit
        length = round(self.station_length_m / self.metres_per_unit)
        texts = [
            label(v, station_length=length, decimals=self.decimals) if f else ""
            for v, f in zip(stated, np.isfinite(stated), strict=True)
        ]
        return np.array(texts, dtype=object)

    def chainages_m(self, stated: float) -> list[float]:
        """Return every chainage that carries the stated value (metres): none in a hole, two in an overlap.

        At an equation itself both the back and the ahead value lead there.

        >>> Stationing(equations=(ChainageEquation(back_m=1200, ahead_m=1150),)).chainages_m(1180)
        [1180.0, 1230.0]
        """
        edges = np.concatenate([[-np.inf], self.breaks_m, [np.inf]])
        jumps = np.cumsum([0.0] + [e.jump_m for e in self.equations])
        found = stated - jumps
        inside = (found >= edges[:-1] - _HAIR_M) & (found <= edges[1:] + _HAIR_M)
        return sorted(set(found[inside].tolist()))


def label(value: float, *, station_length: int, decimals: int) -> str:
    """Write one stated value (in the unit of the station length) as a label.

    Rounded first and split after, so that a carry goes into the whole stations; the sign belongs to the whole.

    >>> label(99.996, station_length=100, decimals=2), label(999.9996, station_length=1000, decimals=3)
    ('1+00.00', '1+000.000')
    >>> label(-0.004, station_length=100, decimals=2)
    '0+00.00'
    """
    step = Decimal(1).scaleb(-decimals)
    rounded = Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_EVEN)
    whole, rest = divmod(abs(rounded), station_length)
    width = len(str(station_length - 1)) + (decimals + 1 if decimals else 0)
    sign = "-" if rounded < 0 else ""
    return f"{sign}{int(whole)}+{rest:0{width}.{decimals}f}"


_LABEL = re.compile(r"\s*([+-]?)(\d+)\+(\d+(?:\.\d+)?)\s*")


def parse_label(text: str, *, station_length: int) -> float:
    """Return the stated value of a label. The station length is never inferred. Raises ValueError.

    >>> parse_label("12+56.02", station_length=100), parse_label("-1+45.67", station_length=100)
    (1256.02, -145.67)
    """
    found = _LABEL.fullmatch(text)
    if not found:
        raise ValueError(f"{text!r} is not a station such as 12+56.02")
    whole, rest = int(found[2]), Decimal(found[3])
    if rest >= station_length:
        raise ValueError(f"{text!r}: {rest} is not less than the station length {station_length}")
    value = float(whole * station_length + rest)
    return -value if found[1] == "-" else value


def written(stationing: Stationing) -> str:
    """Return a stationing as one text, each figure exactly as it is, for `read_back`."""
    told = {name: getattr(stationing, name) for name in ("station_length_m", "metres_per_unit", "decimals", "start_m")}
    return json.dumps(told | {"equations_m": [[e.back_m, e.ahead_m] for e in stationing.equations]})


def read_back(text: str) -> Stationing:
    """Return the stationing that `written` made a text of. Raises ValueError where the text is none.

    >>> one = ChainageEquation(back_m=1.1, ahead_m=2)
    >>> s = Stationing(station_length_m=30.48, metres_per_unit=0.3048, equations=(one,))
    >>> read_back(written(s)) == s
    True
    """
    try:
        told = json.loads(text)
        pairs = told.pop("equations_m")
        figures = {name: float(value) for name, value in told.items()} | {"decimals": int(told["decimals"])}
        equations = tuple(ChainageEquation(back_m=float(back), ahead_m=float(ahead)) for back, ahead in pairs)
        made = Stationing(**figures, equations=equations)  # type: ignore[arg-type]
    except (KeyError, TypeError, AttributeError, OverflowError) as error:
        raise ValueError(f"it is no stationing ({error})") from error
    if not (made.metres_per_unit > 0 and made.station_length_m > 0 and 0 <= made.decimals < 10):
        raise ValueError("it is no stationing: its unit, station length or decimals are out of bounds")
    return made


def equation_faults(start_m: float, length_m: float, equations: Sequence[ChainageEquation]) -> list[str]:
    """Return what is wrong with the equations of a line: each must lie on it, and they must come in order."""
    breaks = Stationing(start_m=start_m, equations=tuple(equations)).breaks_m
    faults = [
        f"back = {e.back_m:g} m lies at {at - start_m:.3f} m from the start, the line is {length_m:.3f} m long"
        for e, at in zip(equations, breaks, strict=True)
        if not start_m <= at <= start_m + length_m
    ]
    return faults + (["the equations are not in order along the line"] if np.any(np.diff(breaks) <= 0) else [])
