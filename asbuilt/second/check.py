"""One check of a hand-over: what it looked at, and what does not hold."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.errors import AsBuiltError
from asbuilt.second.handed_over import HandedOver

HOLDS, DOES_NOT_HOLD, NOT_LOOKED_AT = "holds", "does not hold", "not looked at"
Look = Callable[[HandedOver], "Seen"]


@dataclass(frozen=True)
class Seen:
    """What a look has found: `at` names what it looked at, `faults` each thing that does not hold.

    `not_looked` says why there was nothing to look at; empty: there was.
    """

    at: str
    faults: tuple[str, ...] = ()
    not_looked: str = ""


@dataclass(frozen=True)
class Check:
    """One line of the result. What could not be read was not looked at with what it needs (`made` is false), and does
    not hold."""

    name: str
    state: str  # holds, does not hold, or not looked at
    at: str
    faults: tuple[str, ...]
    made: bool = True


def checked(name: str, look: Look, out: HandedOver) -> Check:
    """Return what a look found. A file that cannot be read does not hold, and says why."""
    try:
        seen = look(out)
    except AsBuiltError as error:
        faults = tuple(str(problem) for problem in error.problems)
        return Check(name, DOES_NOT_HOLD, "what can be read", faults, made=False)
    if seen.not_looked and not seen.faults:
        return Check(name, NOT_LOOKED_AT, seen.not_looked, ())
    return Check(name, DOES_NOT_HOLD if seen.faults else HOLDS, seen.at, seen.faults)


def differing(names: Iterable[str], wrong: np.ndarray, what: str) -> list[str]:
    """Say at how many rows something is wrong, and at which first; nothing where all is well.

    >>> differing(["1", "2", "3"], np.array([True, False, True]), "has another station")
    ['2 rows, the first is 1: has another station']
    """
    at = np.flatnonzero(wrong)
    if not at.size:
        return []
    first = list(names)[at[0]]
    rows = "1 row" if at.size == 1 else f"{at.size:,} rows, the first"
    return [f"{rows}{' is' if at.size > 1 else ','} {first}: {what}"]


def unequal(ours: pd.Series, theirs: pd.Series, within: float) -> np.ndarray:
    """Return where two columns of one length differ, shape (n,): numbers by more than `within`, other values at all.

    Nothing is equal to nothing alone; in `theirs` it may be None, NaN or an empty text.
    """
    if ours.dtype.kind == "f" or isinstance(ours.dtype, pd.Int64Dtype):
        left = ours.astype("float64").to_numpy(float, na_value=np.nan)
        right = pd.to_numeric(theirs.where(theirs != "", np.nan), errors="coerce").to_numpy(float, na_value=np.nan)
        known = np.isfinite(left) & np.isfinite(right)
        odd = theirs.notna().to_numpy() & (theirs != "").to_numpy() & np.isnan(right)
        return np.where(known, np.abs(left - right) > within, np.isfinite(left) != np.isfinite(right)) | odd
    left_texts = ours.astype(object).where(ours.notna(), "").to_numpy(object)
    return np.asarray(left_texts != theirs.astype(object).where(theirs.notna(), "").to_numpy(object), dtype=bool)
