"""Columns as the page carries them: each told once, in the shortest of four plain forms.

- `{"all": value}` where every row has the same;
- `{"words": [...], "at": [...]}` where few values repeat (-1: nothing);
- `{"unit": 1e-07, "steps": [...]}` for numbers: whole units, each the difference from the last number before it, for
  what lies along a line changes little from joint to joint;
- a plain list for the rest.

A column in which nothing is recorded is absent. Nothing is `null`: NaN, NA and empty text are the same nothing here.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

Packed = list[Any] | dict[str, Any]

# Decimals that are kept. Metres to the millimetre, degrees to the centimetre; what a limit is compared with is
# kept finer than it is shown, so that no rounding can move it across its limit.
_DECIMALS: Mapping[str, int] = {"value": 9, "low": 9, "high": 9, "easting": 3, "northing": 3}
_DEGREES, _METRES, _RECORDED = 7, 3, 6
_WHOLE = 2**53  # a script counts no farther


def packed(values: pd.Series) -> Packed | None:
    """Return one column in its shortest form, or None where nothing is in it."""
    values = _rounded(values)
    codes, found = pd.factorize(values)  # each value is looked at once, however many rows have it
    words = [_plain(value) for value in found]
    codes = np.where(np.isin(codes, [i for i, word in enumerate(words) if word is None]), -1, codes)
    if (codes < 0).all():
        return None
    if (codes == codes[0]).all():
        return {"all": words[codes[0]]}
    if 4 * len(words) < len(codes):
        return {"words": words, "at": codes.tolist()}
    numbers = _steps(values)
    return [words[code] if code >= 0 else None for code in codes] if numbers is None else numbers


def _decimals(name: str) -> int:
    if name.endswith(("latitude", "longitude")):
        return _DEGREES
    return _DECIMALS.get(name, _METRES if name.endswith("_m") else _RECORDED)


def _rounded(values: pd.Series) -> pd.Series:
    if values.dtype.kind != "f":
        return values
    finite = values.where(np.isfinite(values))
    return finite.where(finite.abs() >= _WHOLE, finite.mask(finite.abs() >= _WHOLE).round(_decimals(str(values.name))))


def _plain(value: Any) -> Any:
    """Return a value as JSON has it, None for text that says nothing. A whole float becomes an integer: it is shorter.

    >>> _plain(630.0), _plain(11.5), _plain("630.0"), _plain(True), _plain("  ")
    (630, 11.5, '630.0', True, None)
    """
    if isinstance(value, str):
        return value if value.strip() else None
    value = value.item() if isinstance(value, np.generic) else value
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _steps(values: pd.Series) -> dict[str, Any] | None:
    """Return a column of numbers as whole units and differences; None for other columns, and for what is too large."""
    if values.dtype.kind not in "fiu" and not isinstance(values.dtype, pd.Int64Dtype):
        return None
    numbers = values.astype("float64").to_numpy(float, na_value=np.nan)
    decimals = _decimals(str(values.name)) if values.dtype.kind == "f" else 0
    known = np.isfinite(numbers)
    units = np.round(numbers[known] * 10.0**decimals)
    if np.abs(units).max(initial=0) >= _WHOLE:
        return None
    while decimals > 0 and not (units % 10).any():
        units, decimals = units / 10, decimals - 1
    steps = np.full(len(numbers), None, dtype=object)
    steps[known] = np.diff(units, prepend=0.0).astype("int64")
    return {"unit": 10.0**-decimals, "steps": steps.tolist()}
