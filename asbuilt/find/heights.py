"""What is known of heights at a joint: as recorded, by the design, and how deep it lay when somebody measured."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.depths import NO_DEPTH, depth_texts
from asbuilt.find.record import Record
from asbuilt.quantities import LengthUnit


def levels(of: Record, joint: pd.Series, positions: pd.DataFrame) -> tuple[str, ...]:
    """Say what is known of heights and depth; where nothing is, that. `positions` has the opinions about the joint."""
    unit, own = of.title.length_unit, joint.to_frame().T
    depths = [text for _, text in depth_texts(positions, own, unit=unit, zone=of.title.as_of.tzinfo)]
    return (*_as_recorded(joint, unit), *_designed(of, joint), *(depths or (NO_DEPTH,)))


def _as_recorded(joint: pd.Series, unit: LengthUnit) -> Iterator[str]:
    if np.isfinite(joint["elevation_m"]):
        what = joint["elevation_of"] or "of what is not stated"
        yield f"elevation {unit.text(joint['elevation_m'])} ({what}), as recorded"


def _designed(of: Record, joint: pd.Series) -> Iterator[str]:
    """Say the level between the two vertices beside the joint; where one of them has none, none is made up."""
    vertices = of.rows("alignment_vertices", "line", str(joint["line"])).sort_values("chainage_m")
    at, level = (vertices[name].to_numpy(float) for name in ("chainage_m", "elevation_m"))
    design = np.interp(joint["chainage_m"], at, level, left=np.nan, right=np.nan) if len(at) else np.nan
    if np.isfinite(design):
        yield f"design level here {of.title.length_unit.text(float(design))}, as the design file has it"
