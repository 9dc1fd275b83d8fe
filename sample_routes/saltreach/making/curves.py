"""Curves of pressure over time, as a logger beside a machine might keep them. All is invented."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

TAU = 0.15  # s: how fast a valve lets pressure go


@dataclass(frozen=True)
class Made:
    """What is true of a curve: seconds, minutes, and gauge pressures in bar."""

    bead_s: float = 60.0
    soak_s: float = 500.0
    removal_s: float = 7.0
    ramp_s: float = 14.0
    cooling_min: float = 25.0
    bead_bar: float = 36.0
    fuse_bar: float = 36.0
    contact_bar: float = 5.0
    before_s: float = 15.0
    after_s: float = 20.0
    plate_c: float = 224.0

    @property
    def corners(self) -> tuple[np.ndarray, np.ndarray]:
        """Times and pressures between which the curve is straight."""
        spans = [self.before_s, 3.0, self.bead_s - 3.0, TAU, self.soak_s - TAU, TAU, self.removal_s - TAU]
        spans += [self.ramp_s, 60 * self.cooling_min, TAU, self.after_s]
        high, low = [self.bead_bar] * 2, [self.contact_bar] * 2
        return np.r_[0.0, np.cumsum(spans)], np.array([0, 0, *high, *low, 0, 0, *[self.fuse_bar] * 2, 0, 0], float)


def samples(made: Made, *, step: float = 1.0, jitter: float = 0.0, noise_bar: float = 0.0, seed: int = 1) -> np.ndarray:
    """Return time (s), pressure (bar) and plate (°C) of a curve, shape (n, 3). `jitter` is a share of the step."""
    random = np.random.default_rng(seed)
    t, p = made.corners
    at = np.arange(0.0, t[-1], step)
    at = np.sort(at + random.uniform(-jitter / 2, jitter / 2, len(at)) * step)
    plate = made.plate_c + random.normal(0, 0.5, len(at))
    return np.column_stack([at - at[0], np.interp(at, t, p) + random.normal(0, noise_bar, len(at)), plate])


def as_csv(table: np.ndarray, *, heading: str = "Time (s),Pressure (bar),Plate (°C)", decimals: int = 2) -> str:
    """Write a curve as delimited text, as many columns as the heading has."""
    return pd.DataFrame(table[:, : heading.count(",") + 1]).to_csv(
        index=False, header=heading.split(","), float_format=f"%.{decimals}f", lineterminator="\n"
    )


def curves_for(made: pd.DataFrame, *, seed: int = 712, step: float = 2.0) -> dict[str, str]:
    """Return one CSV by file name for each joint that has all values.

    `made` has joint, soak_time, removal_time, ramp_time (s), cooling_time (min), gauge_pressure, drag_pressure (MPa),
    and heater_temperature (°C) if it is known.
    """
    values = ["soak_time", "removal_time", "ramp_time", "cooling_time", "gauge_pressure", "drag_pressure"]
    files = {}
    for i, row in enumerate(made.dropna(subset=values).itertuples()):
        pressure, contact = 10 * row.gauge_pressure, 8 * row.drag_pressure
        one = replace(Made(), soak_s=row.soak_time, removal_s=row.removal_time, ramp_s=row.ramp_time)
        one = replace(one, cooling_min=row.cooling_time, bead_bar=pressure, fuse_bar=pressure, contact_bar=contact)
        one = replace(one, plate_c=getattr(row, "heater_temperature", one.plate_c))
        files[f"{row.joint}.csv"] = as_csv(samples(one, step=step, jitter=0.2, noise_bar=0.1, seed=seed + i))
    return files
