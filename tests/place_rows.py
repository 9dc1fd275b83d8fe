"""Rows as `asbuilt.place.placing.place` wants them, for tests of placing. All invented."""

import numpy as np

from asbuilt.alignment import MeasuredLine, locate
from asbuilt.place.placing import Laying, Placement, place
from tests.bench import truth
from tests.bench.placement import LAYING

STICK = truth.STICK


def records(xy, **columns):
    """Rows of one machine, an hour apart, at positions of shape (n, 2); `columns` replace what is said of them."""
    xy = np.asarray(xy, dtype=float)
    plain = truth.records(np.random.default_rng(0), truth.Laid(np.zeros(len(xy)), xy), sd=0.0)
    names = np.array([f"J{i:04d}" for i in range(1, len(xy) + 1)], dtype=object)
    return plain.assign(**{"sd_m": 1.0, "joint": names, "joint_id": names} | columns)


def serials(places, tag="P"):
    """The two pipes of each joint; `places` count the joints along the line."""
    return {"pipe_a": [f"{tag}{i}" for i in places], "pipe_b": [f"{tag}{i + 1}" for i in places]}


def straight(length, *, start=0.0, apart=0.0):
    """A line due east."""
    return MeasuredLine(np.array([[0.0, apart], [length, apart]]), np.array([start, start + length]))


def beside(line, at, *, noise=0.0, seed=0):
    """Positions at chainages, with errors of so much on each axis."""
    return locate(line, np.asarray(at, dtype=float)) + np.random.default_rng(seed).normal(0, 1, (len(at), 2)) * noise


def placed(rows, *lines: MeasuredLine, laying: Laying = LAYING) -> Placement:
    """Place rows on lines called main, second, third."""
    return place(rows, list(zip(("main", "second", "third"), lines, strict=False)), laying)
