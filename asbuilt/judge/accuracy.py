"""How sure the places are: radii by method, how fixes scatter about the places, and checkpoints where there are shots.

Only a checkpoint is a test of accuracy, for only it compares with a better source. The arithmetic is that of the
National Standard for Spatial Data Accuracy (FGDC-STD-007.3-1998): RMSE of both axes, and a 95 % radius from them where
they are alike. The standard's own text was not read; its factors were seen quoted, its limits are from memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.sentence import several
from asbuilt.window import RADIUS_95

PLACES, SCATTER, CHECKPOINTS = "radius of places", "fixes about places", "fixes against as-laid shots"
_ALIKE = 0.95  # the smaller RMSE as a share of the larger: so alike that they count as equal (the writers' judgement)
_NEAR = 0.6  # below this the standard gives no radius from two RMSE (from memory)
_ENOUGH, _ENOUGH_NOW = 20, 30  # checkpoints: NSSDA (from memory); ASPRS 2nd edition, 2023 (seen in a trade journal)
_ACROSS_ONLY = "along the line a place by its own fix is the fix: only the distance across is told"


@dataclass(frozen=True)
class Errors:
    """Mean, standard deviation of a sample and RMSE of two axes, shapes (2,); `rmse_r` of both, `n` how many pairs."""

    n: int
    mean: np.ndarray
    sd: np.ndarray
    rmse: np.ndarray

    @property
    def rmse_r(self) -> float:
        """Root mean square of the distance in plan."""
        return float(np.hypot(*self.rmse))


def errors(differences: np.ndarray) -> Errors:
    """Return the figures of differences, shape (n, 2), in their own unit; n is 1 at least. One pair has no sd."""
    n = len(differences)
    sd = differences.std(axis=0, ddof=1) if n > 1 else np.full(2, np.nan)
    return Errors(n, differences.mean(axis=0), sd, np.sqrt((differences**2).mean(axis=0)))


def radius95(rmse: np.ndarray) -> tuple[float, str]:
    """Return the 95 % radius from the RMSE of two axes, shape (2,), and the rule that made it; NaN where none does.

    >>> radius, rule = radius95(np.array([0.05, 0.05]))
    >>> round(radius, 4), rule
    (0.1224, 'NSSDA: 1.7308 x RMSE in plan, both axes alike')
    """
    low, high = sorted(rmse.tolist())
    share = low / high if high > 0 else 1.0
    if share >= _ALIKE:
        return float(RADIUS_95 / np.sqrt(2) * np.hypot(low, high)), "NSSDA: 1.7308 x RMSE in plan, both axes alike"
    if share >= _NEAR:
        return RADIUS_95 * (low + high) / 2, f"NSSDA: 2.4477 x the mean of both RMSE, which stand {share:.2f} to 1"
    return np.nan, f"none: the RMSE of both axes stand {share:.2f} to 1, too unlike for a circle"


def accuracy(rows: pd.DataFrame, metres_per_unit: float) -> pd.DataFrame:
    """Return what is known of the accuracy of the places: one row for each method of each kind of comparison.

    `rows` are the joints in line with placed_by, chainage_m, radius95_m, easting, northing, fix_easting, fix_northing
    (working frame, whose unit has `metres_per_unit`), fix_chainage_m, fix_offset_m, stays and surveyed. The columns are
    those of `tables.ACCURACY`; along and across the line, or easting and northing, are axis 1 and 2.
    """
    found = [*_radii(rows), *_scatter(rows), *_checkpoints(rows, metres_per_unit)]
    return pd.DataFrame(found, columns=list(_COLUMNS))


_COLUMNS = (
    "comparison", "method", "joints_n", "axes", "mean_1_m", "mean_2_m", "sd_1_m", "sd_2_m", "rmse_1_m", "rmse_2_m",
    "rmse_r_m", "radius95_m", "radius95_median_m", "radius95_max_m", "rule", "says",
)  # fmt: skip


def _radii(rows: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield the radii of the joints by the way they were placed: what the tables say of each joint, summed up."""
    for method, of in rows.groupby("placed_by", sort=True):
        radius = of["radius95_m"].to_numpy(float)
        known = radius[np.isfinite(radius)]
        row: dict[str, Any] = {"comparison": PLACES, "method": method, "joints_n": len(of), "axes": "in plan"}
        if len(known):
            row |= {"radius95_median_m": float(np.median(known)), "radius95_max_m": float(known.max())}
        unknown = len(of) - len(known)
        says = f"{several(unknown, 'joint')} without a radius" if unknown else ""
        yield row | {"rule": "of each joint, as the table joints has it", "says": says}


def _scatter(rows: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield how fixes lie about the places that they have a say in. No test of accuracy: the places rest on them."""
    for method in ("fix", "fix+tally"):
        of = rows[(rows["placed_by"] == method) & rows["fix_chainage_m"].notna()]
        if of.empty:
            continue
        along = (of["fix_chainage_m"] - of["chainage_m"]).to_numpy(float)
        figures = errors(np.column_stack([along, of["fix_offset_m"].to_numpy(float)]))
        row: dict[str, Any] = {"comparison": SCATTER, "method": method, "joints_n": figures.n, "axes": "along, across"}
        row |= _figures(figures)
        if method == "fix":
            nothing = dict.fromkeys(("mean_1_m", "sd_1_m", "rmse_1_m", "rmse_r_m"), np.nan)
            yield row | nothing | {"rule": "none", "says": _ACROSS_ONLY}
            continue
        radius, rule = radius95(figures.rmse)
        yield row | {"radius95_m": radius, "rule": rule, "says": "how fixes scatter, no check by a better source"}


def _checkpoints(rows: pd.DataFrame, metres_per_unit: float) -> Iterator[dict[str, Any]]:
    """Yield fixes against as-laid shots of the same joints, and against what was found when they were laid bare again.

    A joint fused elsewhere says nothing of its fix.
    """
    both = rows["surveyed"].eq(True) & rows["fix_easting"].notna() & rows["easting"].notna()
    moved = both & rows["stays"].eq(True)
    of = rows[both & ~moved]
    if of.empty:
        return
    apart = [(of[f"fix_{axis}"] - of[axis]).to_numpy(float) * metres_per_unit for axis in ("easting", "northing")]
    figures = errors(np.column_stack(apart))
    radius, rule = radius95(figures.rmse)
    row: dict[str, Any] = {
        "comparison": CHECKPOINTS,
        "method": "fix",
        "joints_n": figures.n,
        "axes": "easting, northing",
    }
    says = _enough(figures.n) + _biased(figures)
    says += f"; {several(int(moved.sum()), 'joint')} fused elsewhere left out" if moved.any() else ""
    again = int(of["as_found"].eq(True).sum()) if "as_found" in of else 0
    says += f"; {again} of them measured as found" if again else ""
    yield row | _figures(figures) | {"radius95_m": radius, "rule": rule, "says": says}


def _figures(found: Errors) -> dict[str, Any]:
    names = ("mean", "sd", "rmse")
    out = {f"{name}_{axis + 1}_m": float(getattr(found, name)[axis]) for name in names for axis in (0, 1)}
    return {**out, "rmse_r_m": found.rmse_r}


def _enough(n: int) -> str:
    if n < _ENOUGH:
        return f"{several(n, 'checkpoint')}, fewer than the {_ENOUGH} that NSSDA asks for: an indication"
    now = f"; ASPRS 2023 asks for {_ENOUGH_NOW} and gives no 95 % figure" if n < _ENOUGH_NOW else ""
    return f"{several(n, 'checkpoint')}{now}"


def _biased(found: Errors) -> str:
    """Say where the mean is half of the RMSE or more: the fixes are shifted together, and no circle tells that."""
    share = np.abs(found.mean) / np.where(found.rmse > 0, found.rmse, 1.0)
    axes = [name for name, part in zip(("easting", "northing"), share, strict=True) if part > 0.5]
    return f"; shifted together in {' and '.join(axes)}" if axes else ""
