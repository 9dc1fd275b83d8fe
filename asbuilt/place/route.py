"""The source rows of a route with their places: shots, pipe lengths and strings of the route brought to placing."""

from dataclasses import replace

import numpy as np
import pandas as pd

from asbuilt.alignment import distance
from asbuilt.outcome import JOINT, SUPERSEDED
from asbuilt.place.along import Sticks
from asbuilt.place.candidates import Reach
from asbuilt.place.placing import Laying, Placement, place
from asbuilt.place.shots import rows_of, with_shots, without_less_sure
from asbuilt.place.told import from_own_fix
from asbuilt.read.alignments import Designs
from asbuilt.read.beside import Sides
from asbuilt.sentence import several, some
from asbuilt.settings import Settings

_LENGTHS = ["length_a_m", "length_b_m", "length_added_m"]
_POSITION = ["easting", "northing", "sd_m", "frame_accuracy_m"]
_CREDIBLE = (0.02, 2.5)  # of a stick: what is shorter or longer is a slip of the pen or another unit
_LEVEL = ["elevation_m", "elevation_of"]  # of a shot, where a joint has one


def placed(
    rows: pd.DataFrame, designs: Designs, sides: Sides, *, settings: Settings
) -> tuple[pd.DataFrame, Placement, tuple[str, ...]]:
    """Return the rows with their place, what placing found, and what of the shots is not clear.

    `rows` are of `read.records` with lineage. Trial joints, duplicates and rows set aside are given no place. A
    measurement that is less sure than the record alone places nothing, nor does one that lies half a stick or more from
    where all else puts its joint (strange_m says how far): another joint was measured, or a number is wrong.
    record_radius95_m is what the record alone knows, NaN where there is no measurement on the line.
    """
    goes_in = rows["outcome"].isin([JOINT, SUPERSEDED]).to_numpy()
    shots, far = _measured(sides, designs, settings)
    record, shots = with_line_accuracy(rows[goes_in], designs), with_line_accuracy(shots, designs)
    alone = pd.Series(np.nan, index=record.index)
    weak: tuple[str, ...] = ()
    if shots["joint"].notna().any():
        alone = _laid(record, shots.iloc[:0], designs, sides, settings=settings)[0].joints["radius95_m"]
        shots, weak = without_less_sure(record, shots, alone, unit=settings.route.length_unit)
    found, known, unclear = _laid(record, shots, designs, sides, settings=settings)
    wrong = _of_another(found.joints, known, settings)
    if wrong.any():
        off = np.where(wrong, from_own_fix(known) * designs.frame.metres_per_unit, 0.0)
        strange, as_found = found.joints["strange_m"].where(found.joints["strange_m"] > 0, off), known["as_found"]
        found, known, _ = _laid(record, _left(record, shots, wrong), designs, sides, settings=settings)
        found = replace(found, joints=found.joints.assign(strange_m=found.joints["strange_m"].mask(wrong, strange)))
        known = known.assign(as_found=known["as_found"].mask(wrong, as_found))
    known = known.assign(record_radius95_m=alone)
    own = ["surveyed", "as_found", "record_radius95_m", *(f"fix_{name}" for name in _POSITION)]
    located = found.joints.join(known[[*own, *_POSITION, *_LEVEL]])
    elsewhere = rows.loc[~goes_in, [*_POSITION, *_LEVEL]]
    fixes = elsewhere[_POSITION].rename(columns="fix_{}".format)
    located = pd.concat([located, fixes.join(elsewhere)]).reindex(rows.index)
    rows = rows.rename(columns={"line": "line_recorded"}).drop(columns=[*_POSITION, *_LEVEL]).join(located)
    rows = rows.fillna({"placed_by": "unplaced", "surveyed": False, "as_found": False, "row_before": -1})
    labels = {
        "station": designs.stations(rows["line"], rows["chainage_m"]),
        "other_station": designs.stations(rows["other_line"], rows["other_chainage_m"]),
        "fix_station": designs.stations(rows["fix_line"], rows["fix_chainage_m"]),
    }
    said = (*far, *weak, *unclear, *_idle_tally(known, sides, settings))
    return rows.assign(string=rows["string_stated"].fillna(rows["string"]), **labels), found, said


def _laid(
    record: pd.DataFrame, shots: pd.DataFrame, designs: Designs, sides: Sides, *, settings: Settings
) -> tuple[Placement, pd.DataFrame, tuple[str, ...]]:
    """Return where the joints of the record lie by it and the shots, what went into that, and what is not clear."""
    how = {"metres_per_unit": designs.frame.metres_per_unit, "unit": settings.route.length_unit}
    known, unclear = with_shots(record, shots, **how)  # type: ignore[arg-type]
    lengths, odd = _credible(known[_LENGTHS], settings)
    known[_LENGTHS] = lengths * designs.pipe_factor
    lines = [(design.name, design.line) for design in designs.lines]
    return place(known, lines, _laying(designs, sides, settings)), known, (*unclear, *odd)


def _of_another(joints: pd.DataFrame, known: pd.DataFrame, settings: Settings) -> np.ndarray:
    """Return which joints have a measurement that cannot be of them: it is nearer to another joint's place than to

    their own, or placing has no use for it, where their own fix has: that is of a joint fused where it lies.
    """
    measured = known["surveyed"] & ~joints["stays"].eq(True) & known["fix_easting"].notna()
    unused = measured & (joints["placed_by"] != "survey")
    far = (joints["placed_by"] == "survey") & (joints["strange_m"] >= settings.pipe.stick / 2)
    return (far | unused).to_numpy(bool)


def _left(record: pd.DataFrame, shots: pd.DataFrame, without: np.ndarray) -> pd.DataFrame:
    """Return the shots but for those of the joints `without`, shape (rows of the record,)."""
    named = shots[shots["joint"].notna()]
    at = rows_of(record, named)[0]
    return named[(at < 0) | ~without[at]].reset_index(drop=True)


def _measured(sides: Sides, designs: Designs, settings: Settings) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the as-laid shots and the as-found measurements that may place a joint, and what is said of others."""
    shots, far = _near(sides.survey.rows, designs, settings, what=("as-laid shot", "survey"))
    found, astray = _near(sides.found.placing, designs, settings, what=("as-found measurement", "found"))
    shots = shots.assign(found=False, day=None)
    return (pd.concat([shots, found.assign(found=True)], ignore_index=True) if len(found) else shots), (*far, *astray)


def _near(
    shots: pd.DataFrame, designs: Designs, settings: Settings, *, what: tuple[str, str]
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the shots within reach of a line, and what is said of the others: a joint keeps its fix then.

    `what` is the word for one of them, and the table of the route file that they are of.
    """
    if shots.empty:
        return shots, ()
    xy = shots[["easting", "northing"]].to_numpy(float)
    away = np.min([distance(d.line, xy) for d in designs.lines], axis=0) * designs.frame.metres_per_unit
    far = away > settings.window.position.reach
    if not far.any():
        return shots, ()
    unit = settings.route.length_unit
    said = (
        f"{far.sum()} of {several(len(shots), what[0])} lie {unit.text(away[far].min(), 0)} or more from every"
        f" line and are not used: check the crs of [{what[1]}] and the order of its columns."
    )
    return shots[~far], (said,)


def _credible(lengths: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the lengths of pipes that records state without those that no pipe can have, and what is said of these."""
    low, high = (share * settings.pipe.stick for share in _CREDIBLE)
    wrong = lengths.notna() & ~((lengths >= low) & (lengths <= high))
    many, unit = int(wrong.to_numpy().sum()), settings.route.length_unit
    if not many:
        return lengths, ()
    shown = ", ".join(unit.short(v) for v in sorted(set(lengths.where(wrong).stack().dropna().round(2)))[:3])
    said = (
        f"{several(many, 'pipe length')} of the records (such as {shown}) cannot be that of a pipe where a stick is"
        f" {unit.short(settings.pipe.stick)}: not used."
    )
    return lengths.where(~wrong), (said,)


def _idle_tally(rows: pd.DataFrame, sides: Sides, settings: Settings) -> tuple[str, ...]:
    """Say which pipes of records the tally does not have, or that no record names a pipe of it."""
    listed = set(sides.tally.rows["pipe"].dropna().str.strip().str.casefold())
    if sides.tally.rows.empty:
        return ()
    named = pd.concat([rows["pipe_a"], rows["pipe_b"]]).dropna().drop_duplicates()
    known = named.str.strip().str.casefold().isin(listed)
    by_string = set(sides.tally.rows["string"].dropna()) & {
        *rows["string"].dropna(),
        *(s.string for s in settings.string),
    }
    if not known.any() and not by_string:
        return (
            f"None of the {several(len(sides.tally.rows), 'pipe')} of the tally is named by a record, by its number or"
            " by string and order: their lengths are not used.",
        )
    strangers = named[~known]
    if known.any() and len(strangers):
        return (f"{several(len(strangers), 'pipe')} of the records are not in the tally: {some(list(strangers))}.",)
    return ()


def _laying(designs: Designs, sides: Sides, settings: Settings) -> Laying:
    """Return what is known of the pipe, its lengths as chainage counts them."""
    factor, position = designs.pipe_factor, settings.window.position
    low, high = (share * settings.pipe.stick for share in _CREDIBLE)
    listed = (lengths.where(lengths.between(low, high)) for lengths in (sides.pipe_length_m, sides.length_in_string_m))
    by_number, in_string = listed
    return Laying(
        Reach(position.reach, position.offset, designs.frame.metres_per_unit),
        Sticks(settings.pipe.stick * factor, settings.stick_sd_m, settings.place.scale_sd, position.offset),
        by_number * factor,
        in_string * factor,
        settings.string,
    )


def with_line_accuracy(rows: pd.DataFrame, designs: Designs) -> pd.DataFrame:
    """Return the rows, the accuracy of each fix's way into the frame having that of the line's in it."""
    line = designs.accuracy_m(rows["frame_origin"].to_numpy(object))
    return rows.assign(frame_accuracy_m=np.hypot(rows["frame_accuracy_m"], line))
