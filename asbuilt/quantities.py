"""A number with its unit in, the unit of our tables out: the only room that converts units.

Stored units are those of the tables: metres for lengths along the line, millimetres for the pipe's own sizes,
degrees Celsius, megapascals, seconds, minutes for cooling.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pint

_UNITS: pint.UnitRegistry = pint.UnitRegistry()
_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.].*?)\s*")

# How the trade writes units, beside the names the library knows itself. A bare "F" is no farad on a fusion record.
_SPELLINGS: Mapping[str, str] = {
    "°c": "degC", "c": "degC", "deg c": "degC", "degc": "degC", "celsius": "degC", "º c": "degC", "ºc": "degC",
    "°f": "degF", "f": "degF", "deg f": "degF", "degf": "degF", "fahrenheit": "degF", "ºf": "degF",
    "mm2": "mm**2", "mm²": "mm**2", "sq mm": "mm**2", "mm^2": "mm**2",
    "cm2": "cm**2", "cm²": "cm**2", "sq cm": "cm**2", "cm^2": "cm**2",
    "in2": "inch**2", "in²": "inch**2", "sq in": "inch**2", "in^2": "inch**2", "sq.in": "inch**2",
    "n/mm2": "MPa", "n/mm²": "MPa", "n/mm^2": "MPa", "mpa": "MPa", "kpa": "kPa", "bar": "bar", "psi": "psi",
    "mm": "mm", "cm": "cm", "m": "m", "km": "km", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "in": "inch", "inch": "inch", "inches": "inch", '"': "inch",
    "ft": "ft", "feet": "ft", "foot": "ft", "us ft": "survey_foot",
    "ftus": "survey_foot", "us survey foot": "survey_foot", "international foot": "ft",
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "min": "min", "mins": "min", "minute": "min",
    "minutes": "min", "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h",
}  # fmt: skip

# How the parts of a duration are named that is written with colons, as in "min:sec" or "hh:mm:ss".
_COLON_PARTS: Mapping[str, frozenset[str]] = {
    "h": frozenset({"h", "hh", "hr", "hrs", "hour", "hours"}),
    "min": frozenset({"m", "mm", "min", "mins", "minute", "minutes"}),
    "s": frozenset({"s", "ss", "sec", "secs", "second", "seconds"}),
}
_COLON_FORMS = (("min", "s"), ("h", "min"), ("h", "min", "s"))

METRES_PER_FOOT = {"international": 0.3048, "survey": 1200 / 3937}


@dataclass(frozen=True)
class LengthUnit:
    """The unit that lengths along the line are shown in; they are stored in metres whatever it is."""

    name: str = "m"
    metres: float = 1.0

    def text(self, length_m: float, decimals: int = 2) -> str:
        """Write a length given in metres, with its unit.

        >>> LengthUnit().text(3.5), LengthUnit("ft", 0.3048).text(3.048, 1)
        ('3.50 m', '10.0 ft')
        """
        return f"{length_m / self.metres:.{decimals}f} {self.name}"

    def short(self, length_m: float) -> str:
        """Write a length as shortly as it can be said.

        >>> LengthUnit().short(12.0), LengthUnit("ft", 0.3048).short(15.24)
        ('12 m', '50 ft')
        """
        return f"{length_m / self.metres:.4g} {self.name}"


METRE = LengthUnit()


class UnitError(ValueError):
    """The text is no quantity, or its unit is not known or of another kind."""


@cache
def unit(text: str) -> pint.Unit:
    """Return the unit that `text` names. Raises UnitError.

    >>> str(unit("°F"))
    'degree_Fahrenheit'
    """
    spelling = _SPELLINGS.get(" ".join(text.lower().split()))
    if spelling is None and colon_parts(text):
        raise UnitError(f"{text!r} says how durations are written in a column, and is no unit of one number")
    if spelling is None:
        raise UnitError(f"unit {text!r} is not known")
    return _UNITS.Unit(spelling)


def is_unit(text: str) -> bool:
    """Whether `text` names a unit of the trade.

    >>> is_unit("psi"), is_unit("Crew")
    (True, False)
    """
    return " ".join(text.lower().split()) in _SPELLINGS


@cache
def colon_parts(text: str) -> tuple[str, ...]:
    """Return the parts of durations that are written with colons as `text` says; none where it says no such thing.

    >>> colon_parts("min:sec"), colon_parts("hh:mm"), colon_parts("min")
    (('min', 's'), ('h', 'min'), ())
    """
    found = [part.strip() for part in text.lower().split(":")]
    fits = (f for f in _COLON_FORMS if len(f) == len(found))
    return next((f for f in fits if all(p in _COLON_PARTS[n] for p, n in zip(found, f, strict=True))), ())


def plain_unit(text: str) -> str:
    """Return the unit of one number from a column of `text`: the seconds of durations with colons, else `text` itself.

    >>> plain_unit("min:s"), plain_unit("bar")
    ('s', 'bar')
    """
    return "s" if colon_parts(text) else text


def convert(values: np.ndarray, from_unit: str, to_unit: str) -> np.ndarray:
    """Return `values` (float64, any shape) converted. Raises UnitError where the kinds differ.

    >>> convert(np.array([419.0]), "degF", "degC").round(6)
    array([215.])
    """
    return from_pint(values, unit(from_unit), to_unit)


def from_pint(values: np.ndarray, origin: pint.Unit, to_unit: str) -> np.ndarray:
    """As `convert`, from a unit that is already known."""
    try:
        return np.asarray(_UNITS.Quantity(values, origin).to(unit(to_unit)).magnitude, dtype="float64")
    except pint.DimensionalityError as error:
        raise UnitError(f"unit {origin:~P} cannot be shown in {to_unit}") from error


def quantity(text: str, to_unit: str) -> float:
    """Return the number that `text` ("54 in") states, in `to_unit`. Raises UnitError, also for a bare number.

    >>> quantity("54 in", "mm")
    1371.6
    """
    found = _NUMBER_AND_UNIT.fullmatch(text)
    if not found:
        raise UnitError(f"{text!r} is not a number with a unit")
    return float(convert(np.array(float(found[1])), found[2], to_unit).round(12))
