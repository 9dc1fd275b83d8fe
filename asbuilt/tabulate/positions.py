"""The table of positions: every opinion of where a joint is, none of them thrown away."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.alignment import distance, project
from asbuilt.place.radius import radius95_m
from asbuilt.place.shots import own_radius_m
from asbuilt.tabulate.journey import Journey, on_line, points
from asbuilt.window import RADIUS_95

_AS_MEASURED = ("by", "elevation_m", "elevation_of", "ground_m", "depth_m", "remarks")


def positions_table(journey: Journey) -> pd.DataFrame:
    """Return one row for each opinion: fix, its projection, adjusted place, second likeliest leg, shots, as found."""
    every = pd.concat(list(_opinions(journey))).sort_values(["row", "rank"], kind="stable")
    every = every.reindex(columns=[*every.columns, *(n for n in tables.POSITIONS.names if n not in every)])
    nowhere = every["easting"].isna()
    every.loc[nowhere, ["easting", "northing"]] = on_line(
        journey, every.loc[nowhere, "line"], every.loc[nowhere, "chainage_m"]
    )
    every["station"] = journey.designs.stations(every["line"], every["chainage_m"])
    xy = every[["easting", "northing"]].to_numpy(float)
    return tables.conform(every.assign(geometry=points(xy)), tables.POSITIONS)


def _opinions(journey: Journey) -> Iterator[pd.DataFrame]:
    """Yield the opinions kind by kind; easting and northing are left empty for points of the alignment."""
    rows = journey.kept
    fixes = rows[rows["fix_easting"].notna() | ((rows["outcome"] == "trial") & rows["easting"].notna())]
    sd = RADIUS_95 * np.hypot(fixes["fix_sd_m"], fixes["fix_frame_accuracy_m"])
    yield _opinion(fixes, 0, "fix", fixes["line"], fixes["fix_chainage_m"]).assign(
        easting=fixes["fix_easting"], northing=fixes["fix_northing"], offset_m=fixes["fix_offset_m"], radius95_m=sd
    )
    on_leg = rows[rows["fix_chainage_m"].notna() & rows["chainage_m"].notna()]
    yield _opinion(on_leg, 1, "projection", on_leg["line"], on_leg["fix_chainage_m"]).assign(
        offset_m=on_leg["fix_offset_m"],
        probability=on_leg["leg_probability"],
        radius95_m=_circle(on_leg, "fix_offset_m"),
    )
    adjusted = rows[rows["placed_by"].isin(("fix+tally", "tally", "survey"))]
    yield _opinion(adjusted, 2, "adjusted", adjusted["line"], adjusted["adjusted_chainage_m"]).assign(
        offset_m=adjusted["offset_m"], radius95_m=_adjusted_circle(adjusted)
    )
    second = rows[rows["other_chainage_m"].notna()]
    yield _opinion(second, 3, "alternative leg", second["other_line"], second["other_chainage_m"]).assign(
        offset_m=second["other_offset_m"],
        probability=second["other_probability"],
        radius95_m=_circle(second, "other_offset_m"),
    )
    sides = journey.sides
    yield _measured(journey, sides.survey.rows.assign(by=sides.survey.rows["surveyor"]), rank=4, method="as-laid shot")
    if len(sides.found.rows):
        yield _measured(journey, sides.found.rows.assign(by=sides.found.rows["name"]), rank=5, method="as found")


def _adjusted_circle(rows: pd.DataFrame) -> np.ndarray:
    """Return the circle about the adjusted point; of a joint that was measured, its own circle is about another one."""
    frame = np.nan_to_num(rows["frame_accuracy_m"].to_numpy(float))
    along, across = np.hypot(rows["adjusted_sd_m"].to_numpy(float), frame), rows["offset_sd_m"].to_numpy(float)
    circle = radius95_m(along, rows["offset_m"].to_numpy(float), across)
    return np.where(rows["placed_by"] == "survey", circle, rows["radius95_m"].to_numpy(float))


def _circle(rows: pd.DataFrame, offset: str) -> np.ndarray:
    """Return the circle about a point of the alignment by the fix alone."""
    sd = np.hypot(rows["fix_sd_m"].to_numpy(float), rows["fix_frame_accuracy_m"].to_numpy(float))
    return radius95_m(sd, rows[offset].to_numpy(float), sd)


def _opinion(rows: pd.DataFrame, rank: int, method: str, line: pd.Series, chainage_m: pd.Series) -> pd.DataFrame:
    columns = {"joint_id": rows["joint_id"], "method": method, "line": line, "chainage_m": chainage_m}
    columns |= {"row": rows.index, "rank": rank, "easting": np.nan, "northing": np.nan, "probability": np.nan}
    columns |= {"source": rows["source_file"] + " row " + rows["source_row"].astype(str)}
    return pd.DataFrame(columns | {"seen_at": rows["fused_at"].dt.tz_localize("UTC")}, index=rows.index)


def _once(names: pd.Series) -> pd.Series:
    """Return the row of each name that only one row has."""
    alone = ~names.duplicated(keep=False)
    return pd.Series(names.index[alone], index=names[alone])


def _measured(journey: Journey, shots: pd.DataFrame, *, rank: int, method: str) -> pd.DataFrame:
    """Return the shots as they were taken; one that names no joint stands at the end, with its line if it has one."""
    asked, rows = shots["joint"].fillna("").str.strip(), journey.kept
    row = asked.map(_once(rows["joint_id"].str.strip()))
    for name in ("joint_id", "joint"):  # two ids may differ in case alone: then only the whole id names one
        row = row.fillna(asked.str.casefold().map(_once(rows[name].str.strip().str.casefold())))
    known = row.reindex(shots.index)
    columns = {
        "joint_id": rows["joint_id"].reindex(known).fillna("").to_numpy(object),
        "method": method,
        "line": shots["line"].to_numpy(object) if "line" in shots else None,
        "chainage_m": np.nan,
        "row": known.fillna(len(journey.rows)).to_numpy(float),
        "rank": rank,
        "easting": shots["easting"],
        "northing": shots["northing"],
        "probability": np.nan,
        "offset_m": np.nan,
        "radius95_m": np.where(shots["easting"].notna(), own_radius_m(shots), np.nan),
        "source": shots["source_file"] + " row " + shots["source_row"].astype(str),
        "seen_at": shots["time"].dt.tz_localize("UTC"),
        **{name: shots[name] for name in _AS_MEASURED if name in shots},
    }
    frame = pd.DataFrame(columns, index=shots.index)
    return frame.assign(**_on_lines(journey, frame, rows))


def _on_lines(journey: Journey, shots: pd.DataFrame, joints: pd.DataFrame) -> dict[str, np.ndarray]:
    """Return line, chainage and offset of each shot: on the line of its joint, else on the nearest one."""
    xy, unit = shots[["easting", "northing"]].to_numpy(float), journey.designs.frame.metres_per_unit
    of_joint = shots["joint_id"].map(joints.drop_duplicates("joint_id").set_index("joint_id")["line"])
    asked = shots["line"].fillna(of_joint).fillna("").to_numpy(object)
    line, at, off, near = asked.copy(), *(np.full(len(shots), value) for value in (np.nan, np.nan, np.inf))
    there = np.isfinite(xy).all(axis=1)
    for design in journey.designs.lines:
        away = np.full(len(xy), np.inf)
        away[there] = distance(design.line, xy[there])
        here = np.flatnonzero(np.isin(asked, [design.name, ""]) & (away < near))
        found = project(design.line, xy[here], reach=away[here] * (1 + 1e-9) + 1e-9)
        point, one = np.unique(found.point, return_index=True)
        line[here[point]], near[here[point]] = design.name, away[here[point]]
        at[here[point]], off[here[point]] = found.measure[one], found.offset[one] * unit
    return {"line": line, "chainage_m": at, "offset_m": off}
