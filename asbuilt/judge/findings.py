"""What a group of joints shares, found before single ones are: offset, clock, frame, digits, bends."""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt import crs
from asbuilt.alignment import distance
from asbuilt.errors import FrameError
from asbuilt.judge.bending import bend_findings
from asbuilt.judge.bends import Laid
from asbuilt.judge.clocks import clock_findings
from asbuilt.judge.finding import Finding
from asbuilt.judge.frames import digit_findings, frame_findings
from asbuilt.judge.places import Placed, Window
from asbuilt.judge.sources import common_offsets
from asbuilt.look import CANNOT_TELL, OUT_OF_WINDOW
from asbuilt.outcome import JOINT, KEPT
from asbuilt.quantities import LengthUnit
from asbuilt.read.alignments import Designs
from asbuilt.sentence import several, some
from asbuilt.settings import Settings
from asbuilt.window import TWO_SIDED_95

_ON_THE_BANK = "strung beside trench"


def findings(
    rows: pd.DataFrame, laid: Laid, designs: Designs, *, settings: Settings, zone: ZoneInfo, window: Window
) -> tuple[Finding, ...]:
    """Return one finding for each group. `rows` are all source rows with lineage and place.

    Nothing is changed: what is proposed is applied only where route.toml says so.
    """
    kept, joints = rows[rows["outcome"].isin(KEPT)], rows[rows["outcome"] == JOINT]
    unit, per_unit = settings.route.length_unit, designs.frame.metres_per_unit
    lines = [(d.name, d.line) for d in designs.lines]
    by_fix = joints[joints["placed_by"].isin(("fix", "fix+tally")) & ~_declared(joints, settings)]
    return (
        *_frames(kept, designs, settings),
        *digit_findings(kept, metres_per_unit=per_unit, unit=unit),
        *common_offsets(by_fix, window, lines=lines),
        *clock_findings(kept, zone, metres_per_unit=per_unit, unit=unit),
        *bend_findings(laid, joints, designs, settings),
        *_shots(joints, unit),
    )


def _shots(joints: pd.DataFrame, unit: LengthUnit) -> Iterator[Finding]:
    """A shot on the pipe that contradicts its neighbours is looked at by somebody, whichever of them is wrong."""
    joints = joints[~joints["as_found"].eq(True)]  # of these judge.found_again tells
    strange = joints[joints["strange_m"] > 0]
    if len(strange):
        named = [f"{i} ({unit.text(m, 1)} off)" for i, m in strange[["joint_id", "strange_m"]].itertuples(index=False)]
        yield Finding(
            f"{several(len(strange), 'as-laid shot')} cannot be brought together with the fixes and pipes around:"
            f" {some(named)}. Were they booked under the wrong joint? What lies around is shown with the wider spread.",
            strange.index.to_numpy(),
            "as-laid shot",
        )
    odd = joints[joints["surveyed"].eq(True) & (joints["placed_by"] != "survey")]
    if len(odd):
        yield Finding(
            f"As-laid shots that do not lie where the neighbours put their joints, and are not used:"
            f" {some(odd['joint_id'].to_list())}.",
            odd.index.to_numpy(),
            "as-laid shot",
        )


def shared_offsets(
    places: Placed, found: tuple[Finding, ...], rows: pd.DataFrame, *, settings: Settings, window: Window
) -> Placed:
    """Return the places, those `cannot tell` that are out of the window only by an offset which their group shares.

    A string that was strung on the bank and a pipe that was laid off the line look alike: it is one finding, and not
    one red joint after the other. A joint that lies off its own group is out of window all the same.
    """
    verdict, reasons = places.joints["position_verdict"].copy(), places.joints["reasons"].copy()
    out = rows.index[(verdict == OUT_OF_WINDOW) & rows["offset_m"].notna()]
    groups = [
        (f.rows, "its group does, too: the machine may have stood off the pipe") for f in found if f.kind == "offset"
    ]
    strung = rows.index[_declared(rows, settings)].to_numpy()
    groups.append((strung, "its string was strung beside the trench: the offset is that of the bank"))
    for members, why in groups:
        here = out.intersection(pd.Index(members))
        if here.empty:
            continue
        off = rows.loc[here, "offset_m"] - rows.loc[rows.index.isin(members), "offset_m"].median()
        alike = here[(off.abs() <= window.offset_m + TWO_SIDED_95 * rows.loc[here, "offset_sd_m"]).to_numpy()]
        verdict[alike] = CANNOT_TELL
        for i in alike:
            side = "right" if rows.loc[i, "offset_m"] > 0 else "left"
            off = f"lies {window.unit.text(abs(rows.loc[i, 'offset_m']))} {side} of the alignment by its fix; {why}"
            reasons[i] = (*(text for text in reasons[i] if not text.startswith("fix ")), off)
    return Placed(places.joints.assign(position_verdict=verdict, reasons=reasons), places.statements)


def _declared(rows: pd.DataFrame, settings: Settings) -> np.ndarray:
    """Whether the route file says of the string of each row that it was strung beside the trench."""
    return rows["string"].isin([s.string for s in settings.string if s.method == _ON_THE_BANK]).to_numpy()


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
