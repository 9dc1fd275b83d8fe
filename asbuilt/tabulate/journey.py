"""What the journey has gathered when the tables are made, in one frozen object."""

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import shapely

from asbuilt.alignment import locate
from asbuilt.judge.finding import Finding
from asbuilt.judge.of_record import OfRecord
from asbuilt.outcome import JOINT, KEPT
from asbuilt.place.placing import Placement
from asbuilt.read.alignments import Design, Designs
from asbuilt.read.beside import Sides
from asbuilt.read.records import Readings
from asbuilt.read.traces import Curve


@dataclass(frozen=True)
class Journey:
    """Everything known of the source rows. `rows` holds reading, lineage and place; all frames share its index."""

    designs: Designs
    readings: Readings
    rows: pd.DataFrame
    judged: OfRecord
    place_reasons: pd.Series
    zone: ZoneInfo
    placement: Placement
    sides: Sides
    findings: tuple[Finding, ...]  # of groups
    curves: Mapping[str, Curve]
    photos: tuple[str, ...] = ()  # files that were copied, as paths from the route folder

    @property
    def design_by_line(self) -> Mapping[str, Design]:
        """The design lines by their names."""
        return {design.name: design for design in self.designs.lines}

    @property
    def kept(self) -> pd.DataFrame:
        """The rows that stand in the table of joints: in line, cut out, and trial."""
        return self.rows[self.rows["outcome"].isin(KEPT)]

    @property
    def in_line(self) -> np.ndarray:
        """Which rows are joints that count, shape (rows,)."""
        return (self.rows["outcome"] == JOINT).to_numpy()


def on_line(journey: Journey, line: pd.Series, chainage_m: pd.Series) -> np.ndarray:
    """Return the point of the alignment at each chainage of its line, shape (n, 2), NaN where there is none."""
    xy = np.full((len(line), 2), np.nan)
    for name, design in journey.design_by_line.items():
        here = (line == name).to_numpy()
        xy[here] = locate(design.line, chainage_m[here].to_numpy(float))
    return xy


def points(xy: np.ndarray) -> np.ndarray:
    """Return points, None where a position is not finite: an empty point would be a place for some readers."""
    there = np.isfinite(xy).all(axis=1)
    out = np.full(len(xy), None, dtype=object)
    out[there] = shapely.points(xy[there])
    return out


def sentences(*groups: tuple[str, ...]) -> str:
    """Join texts to sentences.

    >>> sentences(("soak time was not recorded",), (), ("replaces 17",))
    'Soak time was not recorded. Replaces 17.'
    """
    texts = [text for group in groups for text in group]
    return " ".join(f"{text[0].upper()}{text[1:].removesuffix('.')}." for text in texts)
