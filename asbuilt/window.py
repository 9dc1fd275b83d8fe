"""One accepted interval, and the question that is asked of pressure, time and offset alike."""

from collections.abc import Mapping
from typing import Annotated, Self

import numpy as np
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from asbuilt.fields import FIELDS, is_quantity, stored_as
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.quantities import convert

# 419 °F is 215 °C exactly, and a hair less after conversion: limits are inclusive, so a hair is allowed for.
_HAIR = 1e-9

TWO_SIDED_95 = 1.959963984540054  # standard normal, 97.5 % quantile
SURE_OF_LEG = 0.95  # below this probability which leg a joint lies on cannot be told
RADIUS_95 = 2.447746830680816  # sqrt(-2 ln 0.05): circular normal, 95 % radius in standard deviations of one axis

# Where no accuracy is stated: the poor end of what recreational receivers are quoted at (3-15 m, 95 %; second-hand,
# from published owners' texts). It serves to search and to weigh what competes, never to pass a window.
ASSUMED_SD_M = 15.0 / RADIUS_95


Values = Mapping[str, np.ndarray]  # stored column (`wall_mm`) -> values, shape (n,); NaN: not recorded


def _quantity(name: str) -> str:
    if not is_quantity(name):
        raise ValueError(f"{name!r} is no quantity of a record")
    return name


Quantity = Annotated[str, AfterValidator(_quantity)]


class Data(BaseModel):
    """A part of a procedure as it stands in its TOML: frozen, and nothing beside what it knows."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Span(Data):
    """Where a quantity has to lie: from and upto belong to it, above and below do not. In `unit`, else as stored."""

    over: Quantity
    unit: str = ""
    from_: float = Field(default=-np.inf, alias="from")
    above: float = -np.inf
    below: float = np.inf
    upto: float = np.inf

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        if self.unit:
            convert(np.zeros(1), self.unit, FIELDS[self.over].unit)
        return self

    def of(self, values: Values, size: int) -> np.ndarray:
        """Return the quantity in the unit of the span, shape (size,), without the hair of a conversion."""
        x = np.asarray(values.get(stored_as(self.over), np.full(size, np.nan)), dtype=float)
        return np.round(convert(x, FIELDS[self.over].unit, self.unit) if self.unit else x, 9)

    def holds(self, x: np.ndarray) -> np.ndarray:
        """Whether each value lies in the span; NaN does not."""
        return (x >= self.from_) & (x > self.above) & (x < self.below) & (x <= self.upto)

    @property
    def says(self) -> str:
        """The span in words, such as `over 20 mm`."""
        unit = self.unit or FIELDS[self.over].unit
        words = ("from", self.from_), ("over", self.above), ("below", self.below), ("up to", self.upto)
        return " and ".join(f"{word} {at:g} {unit}".strip() for word, at in words if np.isfinite(at))


def judge(value: np.ndarray, low: np.ndarray, high: np.ndarray, *, computable: np.ndarray) -> np.ndarray:
    """Return the verdict of each value against its window, inclusive; NaN in `low` or `high` leaves that side open.

    All arrays have one shape. `computable` is false where a limit should exist and could not be computed. A value
    that was not recorded (NaN) is `not recorded` whatever the limits are.
    """
    slack_low, slack_high = np.abs(low) * _HAIR, np.abs(high) * _HAIR
    outside = (value < low - slack_low) | (value > high + slack_high)  # comparisons with NaN are false: open side
    verdict = np.full(outside.shape, IN_WINDOW, dtype=object)
    verdict[outside] = OUT_OF_WINDOW
    verdict[~computable] = CANNOT_TELL
    verdict[np.isnan(value)] = NOT_RECORDED
    return verdict


def judge_uncertain(value: np.ndarray, sd: np.ndarray, *, half_width: float) -> np.ndarray:
    """Return the verdict of values with a standard deviation against the window [-half_width, +half_width].

    In or out only where the value with 1.96 standard deviations lies wholly inside or outside; NaN in `sd`
    (accuracy not stated) cannot tell; NaN in `value` is not recorded. Shapes (n,).
    """
    reach = TWO_SIDED_95 * sd
    verdict = np.full(value.shape, CANNOT_TELL, dtype=object)
    verdict[np.abs(value) + reach <= half_width] = IN_WINDOW
    verdict[np.abs(value) - reach > half_width] = OUT_OF_WINDOW
    verdict[np.isnan(value)] = NOT_RECORDED
    return verdict
