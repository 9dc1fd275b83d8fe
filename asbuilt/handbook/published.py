"""The handbook's numbers as they were found in print: loaded from the TOML files beside this one, looked up here."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

Status = Literal["read", "second-hand", "from memory"]


class _Data(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class _Sourced(_Data):
    source: str = Field(min_length=1)
    status: Status


class BendClass(_Data):
    """One column of the table: least radius over outside diameter, for good and while laying (NaN: none found)."""

    dr: float = Field(gt=1)
    ratio: float = Field(gt=0)
    short_term: float = Field(default=np.nan, gt=0)


class FittingInBend(_Sourced):
    """The ratio where a fitting or a flange stands in the bend."""

    ratio: float = Field(gt=0)


class BendRadii(_Sourced):
    """The table of least bend radii; within `near` (a share) of a class a dimension ratio is that class."""

    near: float = Field(ge=0, lt=0.05)
    near_source: str = Field(min_length=1)
    near_status: Status
    fitting: FittingInBend
    classes: tuple[BendClass, ...] = Field(alias="class", min_length=2)


class Span(_Sourced):
    """The least and the most that free pipe grows, per kelvin."""

    low_per_k: float = Field(gt=0)
    high_per_k: float = Field(gt=0)


class Printed(_Sourced):
    """One printed coefficient, per kelvin."""

    per_k: float = Field(gt=0)


class TakeUp(_Sourced):
    """What one joint takes off the length of its two pipes."""

    walls_per_joint: float = Field(ge=0)
    facing_low_mm: float = Field(ge=0)
    facing_high_mm: float = Field(ge=0)


class Thermal(_Data):
    """Thermal growth and take-up."""

    span: Span
    printed: tuple[Printed, ...]
    take_up: TakeUp


@dataclass(frozen=True)
class BendLimits:
    """Least radius over outside diameter, `ratio` and `short_term` of shape (n,), NaN where not known.

    `fitting` is the ratio with a fitting or flange in the bend, whatever the dimension ratio.
    """

    ratio: np.ndarray
    short_term: np.ndarray
    fitting: float
    source: str
    status: Status


def _data(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files(__package__).joinpath(name).read_text(encoding="utf-8"))


@cache
def bend_radii() -> BendRadii:
    """Return the published table of least bend radii, with its source."""
    return BendRadii(**_data("bend_radius.toml"))


@cache
def thermal() -> Thermal:
    """Return what is published on thermal growth, and what is known of the length that fusing takes, with sources."""
    return Thermal(**_data("thermal.toml"))


def bend_limits(dr: np.ndarray) -> BendLimits:
    """Return the least bend radius of pipes of the given dimension ratios, shape (n,), as multiples of their diameter.

    Between two classes the larger ratio of the two counts; NaN beyond the table, and where one of two is not known.

    >>> bend_limits(np.array([11.0, 16.0, 24.0, 60.0])).ratio
    array([25., 27., 34., nan])
    """
    table = bend_radii()
    dr = np.asarray(dr, dtype=float)
    known = np.array([c.dr for c in table.classes])
    place = np.interp(_snapped(dr, known, table.near), known, np.arange(len(known)), left=np.nan, right=np.nan)
    inside = np.isfinite(place)
    low, high = (side(np.where(inside, place, 0)).astype(np.int64) for side in (np.floor, np.ceil))
    ratio, short_term = (np.array([getattr(c, name) for c in table.classes]) for name in ("ratio", "short_term"))
    of_both = [np.where(inside, np.maximum(values[low], values[high]), np.nan) for values in (ratio, short_term)]
    return BendLimits(of_both[0], of_both[1], table.fitting.ratio, table.source, table.status)


def _snapped(dr: np.ndarray, known: np.ndarray, near: float) -> np.ndarray:
    """Move each ratio that is near a class onto it."""
    nearest = known[np.abs(dr[:, None] / known - 1).argmin(axis=1)]
    return np.where(np.abs(dr / nearest - 1) <= near, nearest, dr)
