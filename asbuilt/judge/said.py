"""Everything that is said of many joints at once."""

from collections.abc import Iterable, Iterator

import pandas as pd

from asbuilt.judge.finding import Finding
from asbuilt.judge.placements import placements
from asbuilt.judge.scale import fusing_explains, lengths_counted
from asbuilt.look import OUT_OF_WINDOW
from asbuilt.outcome import JOINT
from asbuilt.place.placing import Placement
from asbuilt.settings import Settings

_PIPES = 10  # a piece of fewer pipes has no scale worth a word
_SOURCE = "proposed for its [records.corrections] in route.toml: "


def said_of_groups(
    rows: pd.DataFrame, placement: Placement, findings: Iterable[Finding], settings: Settings
) -> tuple[str, ...]:
    """Return one statement for each string that was moved, each finding, each run whose pipes do not fit.

    `rows` are all source rows with lineage and place.
    """
    joints = rows[rows["outcome"] == JOINT]
    return (
        *placements(joints, placement, settings.route.length_unit, stick_m=settings.pipe.stick),
        *(with_proposal(finding) for finding in findings),
        *_scales(joints, placement, settings),
    )


def with_proposal(finding: Finding) -> str:
    """Return the statement, with the line for route.toml where it does not hold it already."""
    known = finding.proposal and finding.proposal not in finding.statement
    return f"{finding.statement} ({_SOURCE}{finding.proposal})" if known else finding.statement


def _scales(joints: pd.DataFrame, placement: Placement, settings: Settings) -> Iterator[str]:
    """Say of each piece whose pipes lie longer or shorter than thermal movement and fusing can explain."""
    pieces = joints[joints["placed_by"].isin(("fix+tally", "survey", "tally"))].groupby("piece")
    pipe, scales = settings.pipe, placement.pieces
    for piece, joints_of_piece in pieces:
        if len(joints_of_piece) <= _PIPES:
            continue
        scale, sd = (float(scales[name].loc[piece]) for name in ("scale", "scale_sd"))
        pipe_m = joints_of_piece["pipe_m"].to_numpy(float)
        against = lengths_counted(pipe_m, pipe.stick, settings.route.length_unit)
        told = fusing_explains(scale, sd, stick_m=pipe.stick, wall_mm=pipe.wall, against=against)
        if told.verdict == OUT_OF_WINDOW:
            first, last = joints_of_piece.sort_values("chainage_m")["joint_id"].iloc[[0, -1]]
            yield f"The pipes from {first} to {last} are {told.sentence}"
