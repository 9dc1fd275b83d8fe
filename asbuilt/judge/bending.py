"""The bends of a route, as laid and as designed, against what pipe of its size is to take."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.handbook import bend_limits
from asbuilt.judge.bends import Laid, design_bends, judge_bends
from asbuilt.judge.derived import Derived
from asbuilt.judge.finding import Finding
from asbuilt.outcome import JOINT
from asbuilt.read.alignments import Designs
from asbuilt.settings import Settings


def bends(rows: pd.DataFrame, derived: Derived, designs: Designs, settings: Settings) -> Laid:
    """Judge how tightly the pipe was laid, by positions that owe nothing to the alignment: as-laid shots and fixes."""
    per_unit = designs.frame.metres_per_unit
    independent = rows["placed_by"].isin(("survey", "fix", "fix+tally"))
    joints = pd.DataFrame(
        {
            "easting": rows["easting"] * per_unit,
            "northing": rows["northing"] * per_unit,
            "sd_m": rows["sd_m"],
            "in_line": rows["outcome"] == JOINT,
            "kind": rows["kind"],
            "line": rows["line"],
            "chainage_m": rows["chainage_m"],
            "independent": independent,
        }
    )
    diameter, wall = (derived.values[name] / 1000 for name in ("outside_diameter_mm", "wall_mm"))
    ratio = np.where(np.isnan(derived.values["dr"]), diameter / wall, derived.values["dr"])
    return judge_bends(joints, diameter, ratio, unit=settings.route.length_unit)


def bend_findings(laid: Laid, rows: pd.DataFrame, designs: Designs, settings: Settings) -> Iterator[Finding]:
    """Yield each bend that was laid tighter than it may be, and each that the alignment asks of the pipe."""
    for joints, sentence in laid.bends[["joints", "sentence"]].itertuples(index=False):
        yield Finding(f"{sentence.rstrip('.')}.", np.array(joints), "bend")
    for sentence in _of_design(rows, designs, settings):
        yield Finding(sentence, np.array([], dtype=np.int64), "bend of the design")


def _of_design(rows: pd.DataFrame, designs: Designs, settings: Settings) -> list[str]:
    """Return one sentence for each bend of an alignment that pipe of the route's size is not to take by itself."""
    pipe = settings.pipe
    dr = pipe.dr or (pipe.outside_diameter / pipe.wall if pipe.outside_diameter and pipe.wall else None)
    if pipe.outside_diameter is None or dr is None:
        return []
    radius = float(bend_limits(np.array([dr])).ratio[0]) * pipe.outside_diameter / 1000
    if not np.isfinite(radius):
        return []
    sentences: list[str] = []
    for design in designs.lines:
        here = rows[(rows["line"] == design.name) & (rows["kind"] == "fitting")]
        found = design_bends(
            design.line,
            radius,
            stick_m=pipe.stick,
            offset_m=settings.window.position.offset,
            fittings_m=here["chainage_m"].dropna().to_numpy(float),
            unit=settings.route.length_unit,
        )
        sentences += [f"{design.name}: {text}" for text in found.loc[~found["explained"].astype(bool), "sentence"]]
    return sentences
