"""The source rows of a route with their places: shots, pipe lengths and strings of the route brought to placing."""

import numpy as np
import pandas as pd

from asbuilt.outcome import JOINT, SUPERSEDED
from asbuilt.place.along import Sticks
from asbuilt.place.candidates import Reach
from asbuilt.place.placing import Laying, Placement, place
from asbuilt.place.shots import with_shots
from asbuilt.read.alignments import Designs
from asbuilt.read.sides import Sides
from asbuilt.settings import Settings

_LENGTHS = ["length_a_m", "length_b_m", "length_added_m"]
_POSITION = ["easting", "northing", "sd_m", "frame_accuracy_m"]


def placed(
    rows: pd.DataFrame, designs: Designs, sides: Sides, *, settings: Settings
) -> tuple[pd.DataFrame, Placement, tuple[str, ...]]:
    """Return the rows with their place, what placing found, and what of the shots is not clear.

    `rows` are of `read.records` with lineage. Trial joints, duplicates and rows set aside are given no place.
    """
    goes_in = rows["outcome"].isin([JOINT, SUPERSEDED]).to_numpy()
    known, unclear = with_shots(*(_with_line_accuracy(r, designs) for r in (rows[goes_in], sides.survey.rows)))
    known.loc[known["outcome"] == SUPERSEDED, ["machine", "string", "pipe_a", "pipe_b"]] = None  # follows nothing
    known[_LENGTHS] *= designs.pipe_factor
    found = place(known, [(design.name, design.line) for design in designs.lines], _laying(designs, sides, settings))
    shots = ["surveyed", *(f"fix_{name}" for name in _POSITION)]
    located = found.joints.join(known[[*shots, *_POSITION]])
    elsewhere = rows.loc[~goes_in, _POSITION]
    located = pd.concat([located, elsewhere.rename(columns="fix_{}".format).join(elsewhere)]).reindex(rows.index)
    rows = rows.rename(columns={"line": "line_recorded"}).drop(columns=_POSITION).join(located)
    rows = rows.fillna({"placed_by": "unplaced", "surveyed": False, "row_before": -1})
    labels = {
        "station": designs.stations(rows["line"], rows["chainage_m"]),
        "other_station": designs.stations(rows["other_line"], rows["other_chainage_m"]),
        "fix_station": designs.stations(rows["fix_line"], rows["fix_chainage_m"]),
    }
    return rows.assign(string=rows["string_stated"].fillna(rows["string"]), **labels), found, unclear


def _laying(designs: Designs, sides: Sides, settings: Settings) -> Laying:
    """Return what is known of the pipe, its lengths as chainage counts them."""
    factor, position = designs.pipe_factor, settings.window.position
    return Laying(
        Reach(position.reach, position.offset, designs.frame.metres_per_unit),
        Sticks(settings.pipe.stick * factor, settings.stick_sd_m, settings.place.scale_sd, position.offset),
        sides.pipe_length_m * factor,
        settings.string,
    )


def _with_line_accuracy(rows: pd.DataFrame, designs: Designs) -> pd.DataFrame:
    """Add to the accuracy of each fix's way into the frame that of the line's."""
    line = designs.accuracy_m(rows["frame_origin"].to_numpy(object))
    return rows.assign(frame_accuracy_m=np.hypot(rows["frame_accuracy_m"], line))
