"""Invented curves for tests, some of them odd; the plain ones are made as those of the sample route are."""

import numpy as np
import pandas as pd

from sample_routes.saltreach.making.curves import Made, as_csv, curves_for, samples

__all__ = ["Made", "as_csv", "curves_for", "samples", "stretches", "with_clock"]


def stretches(*parts: tuple[float, float], step: float = 1.0) -> np.ndarray:
    """Return time (s) and pressure (bar) of stretches of (seconds, bar) that follow one another at once."""
    spans, bars = np.array(parts, float).T
    at = np.arange(0.0, spans.sum(), step)
    return np.column_stack([at, bars[np.searchsorted(np.cumsum(spans), at, side="right")]])


def with_clock(table: np.ndarray, start: str) -> pd.DataFrame:
    """Return a curve with the time of day, from `start`, in the place of seconds."""
    time = pd.Timestamp(start) + pd.to_timedelta(table[:, 0], unit="s")
    return pd.DataFrame({"Clock": time.strftime("%H:%M:%S"), "Pressure (bar)": table[:, 1].round(2)})
