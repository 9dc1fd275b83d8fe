"""Everything that is said of many joints at once: the group is judged before the single joint."""

from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt import crs
from asbuilt.alignment import distance
from asbuilt.errors import FrameError
from asbuilt.handbook import bend_limits
from asbuilt.judge.bends import Laid, design_bends, judge_bends
from asbuilt.judge.clocks import clock_findings
from asbuilt.judge.derived import Derived
from asbuilt.judge.finding import Finding
from asbuilt.judge.frames import digit_findings, frame_findings
from asbuilt.judge.placements import placements
from asbuilt.judge.places import Window
from asbuilt.judge.scale import scale_explained
from asbuilt.judge.sources import common_offsets
from asbuilt.look import OUT_OF_WINDOW
from asbuilt.outcome import JOINT, KEPT
from asbuilt.place.placing import Placement
from asbuilt.read.alignments import Designs
from asbuilt.settings import Settings

_PIPES = 10  # a piece of fewer pipes has no scale worth a word
_SOURCE = "proposed for its [records.corrections] in route.toml: "


def said_of_groups(
    rows: pd.DataFrame, placement: Placement, designs: Designs, *, settings: Settings, zone: ZoneInfo, window: Window
) -> tuple[str, ...]:
    """Return one statement for each group of joints that shares something: place, offset, clock, frame or scale.

    `rows` are all source rows with lineage and place. Nothing is changed: what is proposed is applied only where
    route.toml says so.
    """
    kept, joints = rows[rows["outcome"].isin(KEPT)], rows[rows["outcome"] == JOINT]
    unit, per_unit = settings.route.length_unit, designs.frame.metres_per_unit
    lines = [(d.name, d.line) for d in designs.lines]
    fused_in_place = joints[joints["placed_by"].isin(("fix", "fix+tally"))]
    findings = (
        *_frames(kept, designs, settings),
        *digit_findings(kept, metres_per_unit=per_unit, unit=unit),
        *common_offsets(fused_in_place, window, lines=lines),
        *clock_findings(kept, zone, metres_per_unit=per_unit, unit=unit),
    )
    return (
        *placements(joints, placement, unit, stick_m=settings.pipe.stick),
        *(_with_proposal(finding) for finding in findings),
        *_scales(joints, placement, settings),
    )


def _with_proposal(finding: Finding) -> str:
    known = finding.proposal and finding.proposal not in finding.statement
    return f"{finding.statement} ({_SOURCE}{finding.proposal})" if known else finding.statement


def _frames(rows: pd.DataFrame, designs: Designs, settings: Settings) -> tuple[Finding, ...]:
    """Positions that would fit if they were read otherwise, tried the same way as they are brought into the frame."""

    def brought(origin: str, pairs: np.ndarray) -> np.ndarray:
        source = crs.frame(origin.split(",", maxsplit=1)[0], where="records")
        x, y, _ = crs.transform(*pairs.T.copy(), origin=source, target=designs.frame, area=designs.area)
        return np.column_stack([x, y])

    def to_lines(xy: np.ndarray) -> np.ndarray:
        near = np.min([distance(d.line, xy) for d in designs.lines], axis=0)
        return np.asarray(near * designs.frame.metres_per_unit)

    try:
        return frame_findings(rows, brought, distance=to_lines, reach_m=settings.window.position.reach)
    except FrameError:  # a frame without a code of its own cannot be tried again
        return ()


def _scales(joints: pd.DataFrame, placement: Placement, settings: Settings) -> Iterator[str]:
    """Say of each piece whose pipes lie longer or shorter than thermal movement and fusing can explain."""
    pieces = joints[joints["placed_by"].isin(("fix+tally", "survey", "tally"))].groupby("piece")
    wall = settings.pipe.wall / 1000 if settings.pipe.wall else None
    scales = placement.pieces
    for piece, joints_of_piece in pieces:
        if len(joints_of_piece) <= _PIPES:
            continue
        scale, sd = (float(scales[name].loc[piece]) for name in ("scale", "scale_sd"))
        told = scale_explained(scale, sd, stick_m=settings.pipe.stick, wall_m=wall, measured_c=None, laid_c=None)
        if told.verdict == OUT_OF_WINDOW:
            first, last = joints_of_piece.sort_values("chainage_m")["joint_id"].iloc[[0, -1]]
            yield f"The pipes from {first} to {last} are {told.sentence}"


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


def bends_of_design(rows: pd.DataFrame, designs: Designs, settings: Settings) -> Sequence[str]:
    """Return one sentence for each bend of an alignment that pipe of the route's size is not to take by itself."""
    pipe = settings.pipe
    dr = pipe.dr or (pipe.outside_diameter / pipe.wall if pipe.outside_diameter and pipe.wall else None)
    if pipe.outside_diameter is None or dr is None:
        return ()
    radius = float(bend_limits(np.array([dr])).ratio[0]) * pipe.outside_diameter / 1000
    if not np.isfinite(radius):
        return ()
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
