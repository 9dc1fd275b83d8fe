"""Findings about a whole source: each found in an invented case of known truth, and nothing said of a clean one."""

import re
import time
import tomllib
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyproj
import pytest

from asbuilt import alignment, crs
from asbuilt.alignment import MeasuredLine, bearing_deg, locate
from asbuilt.errors import FrameError, Problem
from asbuilt.judge.clocks import clock_findings
from asbuilt.judge.frames import digit_findings, frame_findings, recorded_pairs, what_would_fit
from asbuilt.judge.lineage import lineage
from asbuilt.judge.places import Window
from asbuilt.judge.sources import common_offsets
from asbuilt.outcome import KEPT
from asbuilt.quantities import LengthUnit
from asbuilt.read.alignments import read_alignments
from asbuilt.read.positions import Target
from asbuilt.read.records import read
from asbuilt.settings import RecordSource, load
from tests.making import make_route

HOBART = ZoneInfo("Australia/Hobart")
WINDOW = Window(offset_m=2.0, stick_m=12.0)
E0, N0 = 512345.0, 5263210.0


def line_of(*bearings: float, leg_m: float = 1500.0) -> MeasuredLine:
    """A line of straight legs."""
    step = [(leg_m * np.sin(np.radians(b)), leg_m * np.cos(np.radians(b))) for b in bearings]
    xy = np.vstack([[E0, N0], np.array([E0, N0]) + np.cumsum(step, axis=0)])
    return MeasuredLine(xy, np.arange(len(xy)) * leg_m)


BENT = line_of(20, 95, 160, 80)
STRAIGHT = line_of(90, leg_m=6000.0)


def route(n=360, seed=0, *, line=BENT, sd=0.5, related=0.3, files=3, lay=0.1):
    """Joints of several crews, one file and one machine each: 7 a day, 55 to 70 minutes apart, 08:00 to 16:00."""
    random = np.random.default_rng(seed)
    error = random.normal(size=n)
    for i in range(1, n):
        error[i] = related * error[i - 1] + np.sqrt(1 - related**2) * error[i]
    crew = np.minimum(np.arange(n) * files // n, files - 1)
    own = np.arange(n) - np.searchsorted(crew, crew)
    day, slot = own // 7, own % 7
    minutes = (slot + 1) * 60 + random.uniform(0, 10, n).round()
    times = pd.Timestamp("2026-02-01 20:00") + pd.to_timedelta(day * 24 * 60 + minutes, unit="min")
    chainage = 12.0 * np.arange(1, n + 1)
    fix = locate(line, chainage) + random.normal(0, sd, (n, 2))
    return pd.DataFrame(
        {
            "source_file": [f"records/{c}.csv" for c in crew], "sheet": "", "source_row": own + 2,
            "joint": [f"J{i:04d}" for i in range(n)], "machine": [f"M{c}" for c in crew],
            "operator": [f"op {c}" for c in crew], "fused_at": np.asarray(times, dtype="datetime64[us]"),
            "soak_time_s": 500.0, "cooling_time_min": 28.0, "line": "main", "chainage_m": chainage,
            "offset_m": sd * error + random.uniform(-lay, lay, n), "leg_probability": 1.0, "sd_m": sd,
            "frame_accuracy_m": 0.0, "easting": fix[:, 0], "northing": fix[:, 1],
            "position_recorded": [f"{x:.3f}, {y:.3f}" for x, y in fix],
        }
    )  # fmt: skip


def moved(rows, *, east=0.0, north=0.0, line=BENT):
    """The same fixes in a frame that lies off: only the part across the line shows in the offset."""
    bearing = np.radians(bearing_deg(line, rows["chainage_m"].to_numpy()))
    return rows.assign(offset_m=rows["offset_m"] + east * np.cos(bearing) - north * np.sin(bearing))


def offsets(rows, *, line=BENT, window=WINDOW):
    return common_offsets(rows, window, lines=[("main", line)])


def shift(rows, where, hours):
    return rows.assign(fused_at=rows["fused_at"].where(~where, rows["fused_at"] + pd.Timedelta(hours=hours)))


def clocks(rows):
    return clock_findings(rows, HOBART)


# --- common offsets -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", [BENT, STRAIGHT], ids=["bent", "straight"])
@pytest.mark.parametrize("sd", [0.02, 0.5, 2.5, 6.0])
@pytest.mark.parametrize("related", [0.0, 0.6, 0.9])
def test_nothing_is_said_of_the_offsets_of_a_clean_route(line, sd, related):
    for seed in range(4):
        assert offsets(route(seed=seed, line=line, sd=sd, related=related), line=line) == ()


def test_errors_that_last_for_a_day_or_are_larger_than_stated_prove_nothing():
    for seed in range(6):
        random, rows = np.random.default_rng(seed), route(n=1500, seed=seed, sd=1.2, related=0.6)
        of_the_day = random.normal(0, 0.9, 300)[np.arange(1500) // 7] + random.normal(0, 0.8, 1500)
        assert offsets(rows.assign(offset_m=of_the_day)) == ()
        assert offsets(rows.assign(offset_m=2 * rows["offset_m"])) == ()
        assert offsets(rows.assign(offset_m=random.standard_t(3, 1500))) == ()


def test_a_bank_keeps_its_side_where_the_line_turns():
    rows = route(files=1).assign(offset_m=lambda r: r["offset_m"] + 6.0)
    (found,) = offsets(rows)
    assert re.match(r"records/0.csv: 360 fixes lie (5\.9|6\.0)\d m right of the alignment", found.statement)
    assert "keep that side where the line turns" in found.statement
    assert "a wrong datum" not in found.statement
    assert found.proposal == ""


def test_a_datum_keeps_its_direction_where_the_line_turns_and_the_shift_is_proposed():
    rows = moved(route(files=1), east=1.5, north=-1.0)
    (found,) = offsets(rows)
    assert "to the south-east of the line" in found.statement
    assert "wrong datum" in found.statement
    east, north = map(float, re.findall(r'"(\S+) m"', found.proposal))
    assert (east, north) == pytest.approx((-1.5, 1.0), abs=0.15)
    assert offsets(moved(rows, east=east, north=north)) == ()


def test_the_shift_between_two_published_datums_is_found_in_size_and_direction():
    """GDA94 numbers taken for GDA2020 on the west coast, by the operation that PROJ carries.

    The two lie about 1.8 m apart (seen: icsm.gov.au/datum/gda-frequently-asked-questions, a stored copy).
    """
    in_the_west = BENT.xy + np.array([0.0, 2_250_000.0])
    there = np.column_stack(pyproj.Transformer.from_crs(28350, 7850).transform(*in_the_west.T))
    east, north = (there - in_the_west).mean(axis=0)
    assert np.hypot(east, north) == pytest.approx(1.8, abs=0.05)
    (found,) = offsets(moved(route(files=1, sd=0.3), east=east, north=north))
    assert "to the north-east of the line" in found.statement
    size = float(re.search(r"lie (\S+) m to", found.statement)[1])
    assert size == pytest.approx(np.hypot(east, north), abs=0.1)


def test_on_a_straight_reach_only_the_part_across_is_seen():
    rows = moved(route(files=1, line=STRAIGHT), east=2.0, north=1.5, line=STRAIGHT)
    (found,) = offsets(rows, line=STRAIGHT)
    assert "m left of the alignment" in found.statement
    assert "to the north." in found.statement
    assert "Only the part across is seen" in found.statement
    assert found.proposal == ""


def test_an_antenna_changes_sides_with_the_direction_of_the_work():
    rows = route(n=240, files=1, line=STRAIGHT)
    back = np.arange(240) >= 120
    chainage = np.where(back, 12.0 * (480 - np.arange(240)), rows["chainage_m"])
    rows = rows.assign(chainage_m=chainage, offset_m=rows["offset_m"] + np.where(back, -3.0, 3.0))
    (found,) = offsets(rows, line=STRAIGHT)
    assert "to the right of the way the work went" in found.statement
    assert "antenna" in found.statement


def test_a_piece_of_a_machine_run_on_one_side_is_said_once():
    rows = route(files=3)
    piece = rows["joint"].between("J0150", "J0180").to_numpy()
    (found,) = offsets(rows.assign(offset_m=rows["offset_m"] - 6.0 * piece))
    assert set(rows.index[piece]) <= set(found.rows)
    assert len(found.rows) <= piece.sum() + 4  # a neighbour that happens to lie on the same side may be counted in
    assert "fixes of the machine M1 from joint" in found.statement
    assert "m left of the alignment" in found.statement


def test_a_run_that_wanders_from_side_to_side_is_said_once():
    rows = route(files=1)
    found = offsets(rows.assign(offset_m=rows["offset_m"] + 4.0 * np.sign(np.sin(np.arange(360) / 12))))
    assert len(found) == 1
    assert re.match(r"(9|10) pieces of the run of the machine M0, 3\d\d fixes in all", found[0].statement)
    assert 340 < len(found[0].rows) <= 360


def test_of_a_file_of_two_halves_nothing_is_said_as_a_whole():
    rows = route(files=1)
    found = offsets(rows.assign(offset_m=rows["offset_m"] + 6.0 * (rows.index < 200)))
    assert len(found) == 1
    assert "of the machine M0 from joint" in found[0].statement
    assert abs(len(found[0].rows) - 200) <= 3


def test_a_machine_that_works_in_two_files_is_found_where_the_files_do_not_show_it():
    rows = route(files=2, n=120)
    at = np.arange(len(rows)) % 3 == 0
    rows = rows.assign(machine=np.where(at, "M7", rows["machine"]), offset_m=rows["offset_m"] + 4.0 * at)
    found = offsets(rows)
    assert ["the machine M7" in f.statement for f in found] == [True]


def test_what_a_frame_adds_never_averages_out():
    rows = route(files=1).assign(offset_m=lambda r: r["offset_m"] + 2.0)
    assert len(offsets(rows)) == 1
    assert offsets(rows.assign(frame_accuracy_m=1.0)) == ()


def test_without_a_stated_accuracy_a_fix_is_taken_for_a_poor_one():
    rows = route(files=1, n=60).assign(offset_m=lambda r: r["offset_m"] + 1.0)
    assert len(offsets(rows)) == 1
    assert offsets(rows.assign(sd_m=np.nan)) == ()


def test_joints_fused_at_one_place_say_nothing_about_the_side():
    rows = route(files=1)
    stood = np.arange(360) < 40
    chainage = np.where(stood, 100.0, rows["chainage_m"])
    assert offsets(rows.assign(chainage_m=chainage, offset_m=rows["offset_m"] + 6.0 * stood)) == ()


def test_offsets_are_said_in_the_unit_of_the_route():
    rows = route(files=1).assign(offset_m=lambda r: r["offset_m"] + 6.0)
    (found,) = offsets(rows, window=Window(2.0, 12.0, LengthUnit("ft", 0.3048)))
    assert re.search(r"lie 19\.\d\d ft right", found.statement)


def test_offsets_survive_rows_that_say_nothing():
    assert offsets(route().iloc[:0]) == ()
    rows = route().assign(offset_m=np.nan)
    assert offsets(rows) == ()
    rows = route(files=1).assign(machine=None, offset_m=lambda r: r["offset_m"] + 6.0, fused_at=pd.NaT)
    assert len(offsets(rows)) == 1


def test_findings_change_nothing_and_keep_the_labels_of_the_rows():
    rows = route(files=1).assign(offset_m=lambda r: r["offset_m"] + 6.0).sample(frac=1, random_state=1)
    rows.index = rows.index * 10 + 7
    before = rows.copy(deep=True)
    (found,) = offsets(rows)
    assert set(found.rows) == set(rows.index)
    clocks(rows), digit_findings(rows)
    pd.testing.assert_frame_equal(rows, before)


# --- clocks -----------------------------------------------------------------------------------------------------------


def test_nothing_is_said_of_the_clocks_of_a_clean_route():
    for seed in range(8):
        assert clocks(route(n=500, seed=seed)) == ()
        assert clocks(route(n=150, seed=seed, files=1)) == ()


def test_the_day_with_the_wrong_clock_of_the_sample_route_is_found():
    folder = Path(__file__).parents[1] / "sample_routes" / "saltreach"
    settings = load(folder)
    designs = read_alignments(settings)
    rows = read(settings, Target(designs.frame, designs.area)).rows
    rows = rows.join(lineage(rows, HOBART).rows)
    (found,) = clocks(rows[rows["outcome"].isin(KEPT)])
    assert list(rows.loc[found.rows, "joint"]) == [f"C-0{n}" for n in range(59, 68)]
    assert found.proposal == 'clock = "+3 h"'
    assert "records/crew_c.csv rows 59 to 67" in found.statement
    assert "2026-02-26" in found.statement
    assert "in a file of their own" in found.statement


@pytest.mark.parametrize("hours", [-6, -3, -2, 9, 11])
def test_one_day_of_one_machine_hours_away_from_its_others_is_found(hours):
    rows = route(n=210, files=2)
    day = rows["joint"].between("J0035", "J0041")
    (found,) = clocks(shift(rows, day, hours))
    assert list(found.rows) == list(rows.index[day])
    assert found.proposal == f'clock = "{-hours:+d} h"'


def test_a_day_in_a_file_of_its_own_can_be_corrected():
    rows = route(n=105, files=1)
    day = rows["joint"].between("J0035", "J0041")
    rows = shift(rows.assign(source_file=np.where(day, "records/one.csv", "records/0.csv")), day, -3)
    (found,) = clocks(rows)
    assert "of their own" not in found.statement
    assert found.proposal == 'clock = "+3 h"'


@pytest.mark.parametrize(
    ("hours", "keep"),
    [(3, 4), (-3, 2), (4, 7), (-1, 7)],
    ids=["a late start", "two early joints", "a morning lost to rain", "an hour earlier"],
)
def test_an_odd_day_is_no_clock(hours, keep):
    rows = route(n=105, files=1)
    day = rows["joint"].between("J0035", "J0041")
    if keep == 4:  # the first three were not made: the day starts late and ends as always
        rows = rows[~rows["joint"].between("J0035", "J0037")]
        assert clocks(rows) == ()
        return
    rows = rows[~day | (rows["joint"] < f"J{35 + keep:04d}")]
    assert clocks(shift(rows, day.reindex(rows.index), hours)) == ()


def test_irregular_hours_are_no_clock():
    """Starts that scatter, mornings lost to rain, half days, long breaks."""
    for seed in range(10):
        random, rows = np.random.default_rng(seed), route(n=420, seed=seed, files=2)
        day = np.arange(420) // 7
        late = random.normal(0, 0.3, 60) + np.where(random.random(60) < 0.1, random.uniform(1, 4, 60), 0)
        pause = np.where(np.arange(420) % 7 > 3, random.uniform(0, 1, 60)[day], 0)
        times = rows["fused_at"] + pd.to_timedelta((late[day] + pause) * 60, unit="min").round("min")
        half = (random.random(60) < 0.1)[day] & (np.arange(420) % 7 > 3)
        assert clocks(rows.assign(fused_at=times.astype("datetime64[us]"))[~half]) == ()


def test_other_hours_from_some_day_on_are_no_clock():
    rows = route(n=210, files=1)
    assert clocks(shift(rows, rows["joint"] >= "J0175", -2)) == ()


def test_a_file_in_another_zone_than_the_others_is_found():
    rows = route(n=300)
    mine = rows["source_file"] == "records/1.csv"
    (found,) = clocks(shift(rows, mine, -11))
    assert found.kind == "zone"
    assert found.proposal == 'clock = "+11 h"'
    assert list(found.rows) == list(rows.index[mine])
    assert "records/1.csv: the" in found.statement


def test_of_two_files_the_one_that_works_at_odd_hours_is_named():
    rows = route(n=200, files=2)
    (found,) = clocks(shift(rows, rows["source_file"] == "records/0.csv", 7))
    assert found.statement.startswith("records/0.csv")
    assert found.proposal == 'clock = "-7 h"'
    assert clocks(shift(rows, rows["source_file"] == "records/0.csv", -1)) == ()


def test_a_route_that_works_by_night_is_asked_about_utc():
    rows = route(n=100, files=1)
    (found,) = clocks(shift(rows, rows["machine"].notna(), -11))
    assert "by night" in found.statement
    assert found.proposal == 'clock = "+11 h"'
    (found,) = clocks(
        shift(rows, rows["machine"].notna(), 15)
    )  # 23:00: neither way of mistaking UTC leads to a morning
    assert found.proposal == ""


def test_a_clock_that_was_never_set_is_found():
    rows = route(n=100, files=1)
    lost = rows["joint"].between("J0020", "J0029")
    times = pd.Timestamp("1980-01-06") + pd.to_timedelta(rows.index.to_numpy() * 60, unit="min")
    (found,) = clocks(
        rows.assign(fused_at=rows["fused_at"].where(~lost, pd.Series(times, rows.index).astype("M8[us]")))
    )
    assert found.kind == "lost clock"
    assert list(found.rows) == list(rows.index[lost])
    assert "10 times lie in 1980" in found.statement
    assert "rows 22 to 31" in found.statement


def test_a_clock_that_fell_back_while_the_numbers_rose_is_found():
    rows = route(n=100, files=1)
    lost = rows["joint"] >= "J0070"
    (found,) = clocks(shift(rows, lost, -24 * 400))
    assert "at joint J0070 the times fall back by 399 days" in found.statement
    assert list(found.rows) == list(rows.index[lost])


def test_numbers_that_do_not_follow_the_order_of_the_work_prove_nothing():
    rows = route(n=210, files=1)
    backwards = rows.assign(joint=rows["joint"].to_numpy()[::-1])
    assert clocks(backwards) == ()
    left_open = shift(rows, rows["joint"].between("J0035", "J0069"), 24 * 40)  # a reach that was made later
    assert clocks(left_open) == ()
    started_in_the_middle = shift(rows, rows["joint"] < "J0035", 24 * 30)
    assert clocks(started_in_the_middle) == ()


def test_a_lost_afternoon_is_found():
    rows = route(n=105, files=1)
    local = rows["fused_at"].dt.tz_localize("UTC").dt.tz_convert(HOBART)
    lost = (local.dt.hour >= 13) & (rows.index < 21)
    (found,) = clocks(shift(rows, lost, -12))
    assert found.kind == "lost afternoon"
    assert list(found.rows) == list(rows.index[lost])


def test_one_operator_on_two_machines_far_apart_is_found():
    rows = route(n=120, files=2)
    (found,) = [f for f in clocks(rows.assign(operator="op 5")) if f.kind == "two places"]
    assert found.statement.startswith("op 5 fused on two machines at once")
    beside = rows.assign(operator="op 5", easting=E0, northing=N0)
    assert clocks(beside) == ()
    in_turn = shift(rows.assign(operator="op 5"), rows["machine"] == "M1", 24 * 60)
    assert clocks(in_turn) == ()


def test_joints_that_leave_no_time_to_cool_are_found():
    rows = route(n=100, files=1)
    at = rows["joint"] == "J0050"
    close = rows.assign(fused_at=rows["fused_at"].where(~at, rows["fused_at"].shift() + pd.Timedelta(minutes=5)))
    (found,) = clocks(close)
    assert list(found.rows) == [50]
    assert "J0050 5 min after J0049, and they need 36 min" in found.statement
    assert clocks(close.assign(cooling_time_min=np.nan)) == ()
    assert clocks(close.assign(machine=["A", "B"] * 50, operator=None)) == ()


def test_days_without_an_hour_and_rows_without_a_time_say_nothing():
    rows = route(n=100, files=1)
    days = rows["fused_at"].dt.normalize() + pd.Timedelta(hours=13)  # local midnight
    assert clocks(rows.assign(fused_at=days)) == ()
    assert clocks(rows.assign(fused_at=pd.Series(pd.NaT, rows.index, dtype="datetime64[us]"))) == ()
    assert clocks(rows.iloc[:0]) == ()
    assert clocks(rows.iloc[:1]) == ()


# --- digits and frames ------------------------------------------------------------------------------------------------

_TO_PLANE = pyproj.Transformer.from_crs(7844, 7855, always_xy=True)


def transform(pairs):
    x, y = _TO_PLANE.transform(*pairs.T)
    if not np.isfinite(x).any():
        raise FrameError(Problem("here", "no place", "none"))
    return np.column_stack([x, y])


def degrees(rows):
    """True longitude and latitude of the fixes."""
    return np.column_stack(_TO_PLANE.transform(rows["easting"], rows["northing"], direction="INVERSE"))


def as_minutes(values):
    whole = np.floor(np.abs(values))
    return np.sign(values) * (whole + (np.abs(values) - whole) * 60 / 100)


def as_seconds(values):
    """What stands behind the point are minutes and seconds: 42° 51' 28.1" as 42.51281."""
    whole = np.floor(np.abs(values))
    minutes = (np.abs(values) - whole) * 60
    return np.sign(values) * (whole + np.floor(minutes) / 100 + (minutes % 1) * 60 / 10000)


def as_decimal_minutes(values):
    """Seconds read as decimals of a minute: 42° 51' 28.1" as 42° 51.281'."""
    whole = np.floor(np.abs(values))
    minutes = (np.abs(values) - whole) * 60
    return np.sign(values) * (whole + (np.floor(minutes) + (minutes % 1) * 0.6) / 60)


@pytest.mark.parametrize(
    ("change", "variant", "proposal"),
    [
        (lambda p: p[:, ::-1], "latitude and longitude swapped", "swap = true"),
        (lambda p: p * [1, -1], "the sign of latitude changed", "sign = true"),
        (lambda p: p * [-1, 1], "the sign of longitude changed", "sign = true"),
        (lambda p: p * [-1, -1], "the sign of both changed", "sign = true"),
        (lambda p: np.abs(p[:, ::-1]), "swapped and the sign of latitude changed", "swap = true\nsign = true"),
        (as_minutes, "degrees read as minutes", ""),
        (as_seconds, "read as minutes and seconds", ""),
        (as_decimal_minutes, "minutes read as seconds", ""),
    ],
)
def test_what_would_fit_names_the_one_way(change, variant, proposal):
    true = degrees(route(n=30))
    distance = partial(alignment.distance, BENT)
    fit = what_would_fit(change(true), transform, distance=distance, reach_m=50.0)
    assert fit is not None
    assert fit.variant.endswith(variant)
    assert (fit.count, fit.proposal) == (30, proposal)


def test_sexagesimal_digits_are_read_as_they_are_defined():
    """42.5128 is 42° 51' 28" is 42.857778°: 42 + 51/60 + 28/3600 (arithmetic)."""
    there = {}
    what_would_fit(
        np.array([[149.1200, -42.5128]]),
        lambda pairs: there.setdefault(len(there), pairs),
        distance=lambda xy: np.full(len(xy), 1e6),
        reach_m=1.0,
    )
    assert any(np.allclose(pairs, [[149.2, -42.8577778]], atol=1e-7) for pairs in there.values())


def test_where_no_way_or_several_fit_nothing_is_named():
    true = degrees(route(n=30))
    distance = partial(alignment.distance, BENT)
    assert what_would_fit(true + np.array([3.0, 1.0]), transform, distance=distance, reach_m=50.0) is None
    assert what_would_fit(true[:, ::-1], transform, distance=lambda xy: np.zeros(len(xy)), reach_m=50.0) is None
    assert what_would_fit(np.full((3, 2), np.nan), transform, distance=distance, reach_m=50.0) is None


def test_swapped_eastings_and_northings_are_found():
    pairs = route(n=30)[["northing", "easting"]].to_numpy()
    fit = what_would_fit(pairs, lambda xy: xy, distance=partial(alignment.distance, BENT), reach_m=50.0)
    assert (fit.variant, fit.proposal) == ("swapped", "swap = true")


_LATITUDE = pyproj.Transformer.from_crs(7855, 7844).transform(500100.0, 5250065.0)[0]
SWAPPED = "\n".join(
    ["Joint,Finished,Lat,Lon,Plate (°C)"]
    + [f"J{i},2026-03-02 {8 + i:02d}:00,{147.0 + 1.5e-4 * i:.8f},{_LATITUDE:.8f},215" for i in range(1, 9)]
)
AS_DEGREES = {
    "records.crs": "EPSG:7844",
    "records.columns": {"joint": "Joint", "time": "Finished", "latitude": "Lat", "longitude": "Lon"},
    "window.required": [],
}
LINE = "easting,northing\n500000,5250065\n501000,5250065\n"


def findings_of(folder):
    settings = load(folder)
    designs = read_alignments(settings)
    rows = read(settings, Target(designs.frame, designs.area)).rows
    line = designs.lines[0].line
    xy = rows[["easting", "northing"]].to_numpy()
    away = np.full(len(rows), np.nan)
    away[np.isfinite(xy[:, 0])] = alignment.distance(line, xy[np.isfinite(xy[:, 0])])
    rows = rows.assign(far_m=np.where(away > 100, away, np.nan))

    def into(origin, pairs):
        frame = crs.frame(origin.split(",")[0], where="test")
        east, north, _ = crs.transform(*pairs.T.copy(), origin=frame, target=designs.frame, area=designs.area)
        return np.column_stack([east, north])

    return rows, frame_findings(rows, into, distance=partial(alignment.distance, line), reach_m=100.0)


def test_a_swapped_file_is_found_and_the_proposed_line_puts_it_right(tmp_path):
    folder = make_route(tmp_path / "as read", records=SWAPPED, line=LINE, toml_changes=AS_DEGREES)
    rows, (found,) = findings_of(folder)
    assert found.proposal == "swap = true"
    assert len(found.rows) == 8
    assert "8 of 8 positions lie far from every line as they are read, and 8 would lie in reach" in found.statement
    corrected = AS_DEGREES | {"records.corrections": {"swap": True}}
    rows, nothing = findings_of(make_route(tmp_path / "put right", records=SWAPPED, line=LINE, toml_changes=corrected))
    assert nothing == ()
    assert rows["easting"].notna().all()
    assert rows["far_m"].isna().all()


def test_recorded_texts_become_pairs_again():
    texts = np.array(["42° 51' 28.1264\" S, 149° 12' 07.0552\" E", "x, y", "", "1, 2, 3"], dtype=object)
    pairs = recorded_pairs(texts)
    assert pairs[0] == pytest.approx([149 + 12 / 60 + 7.0552 / 3600, -(42 + 51 / 60 + 28.1264 / 3600)])
    assert np.isnan(pairs[1:]).all()
    commas = recorded_pairs(np.array(["-42,85780453, 149,20196225"]))
    assert np.allclose(commas, [[149.20196225, -42.85780453]], rtol=0, atol=1e-9)
    swapped = recorded_pairs(np.array(["149° 12' 00\" E, 42° 30' 00\" S"]))
    assert np.allclose(swapped, [[-42.5, 149.2]], rtol=0, atol=1e-9)


def test_nothing_is_said_of_the_digits_of_a_clean_route():
    for seed in range(5):
        assert digit_findings(route(seed=seed)) == ()
        at_one_place = route(seed=seed).assign(
            position_recorded=[f"{e:.3f}, {n:.3f}" for e, n in np.random.default_rng(seed).normal(5e5, 0.5, (360, 2))]
        )
        assert digit_findings(at_one_place) == ()


def test_a_fix_that_was_used_again_is_found_once_for_its_machine():
    rows = route(files=2)
    again = np.isin(np.arange(360), [41, 42, 43, 90])
    source = np.where(again, np.where(np.arange(360) == 90, 89, 40), np.arange(360))
    (found,) = digit_findings(rows.assign(position_recorded=rows["position_recorded"].to_numpy()[source]))
    assert list(found.rows) == [41, 42, 43, 90]
    assert found.statement.startswith("records/0.csv, machine M0: 4 of 180 positions repeat")
    assert "J0041 has that of J0040" in found.statement


def test_digits_repeat_by_chance_where_few_are_written():
    rows = route(files=1, sd=3.0)
    coarse = rows.assign(
        position_recorded=[f"{e:.0f}, {n:.0f}" for e, n in zip(rows.easting, rows.northing, strict=True)]
    )
    assert digit_findings(coarse.assign(position_recorded=coarse["position_recorded"].iloc[0])) == ()


@pytest.mark.parametrize(
    ("decimals", "sd", "said"), [(4, 1.0, True), (5, 0.02, True), (5, 1.0, False), (8, 0.02, False)]
)
def test_too_few_decimals_for_the_stated_accuracy_are_said(decimals, sd, said):
    """A degree of latitude is 111 km, so 4 decimals are 11 m and 5 are 1.1 m (needs.md, row 16)."""
    rows = route(n=60, files=1).assign(sd_m=sd)
    texts = [f"{y:.{decimals}f}, {x:.{decimals}f}" for x, y in degrees(rows)]
    found = digit_findings(rows.assign(position_recorded=texts))
    assert [f.kind for f in found] == (["decimals"] if said else [])
    if said:
        assert f"written to {11.13 if decimals == 4 else 1.113:g} m" in found[0].statement


def test_seconds_with_decimals_are_fine_enough():
    rows = route(n=20, files=1)
    texts = [f"42° 51' {28 + i / 20:.4f}\" S, 149° 12' 07.{i:04d}\" E" for i in range(20)]
    assert digit_findings(rows.assign(position_recorded=texts)) == ()


def test_statements_are_sentences_and_proposals_are_lines_of_the_route_file():
    rows = route(files=1).assign(offset_m=lambda r: r["offset_m"] + 6.0)
    day = rows["joint"].between("J0035", "J0041")
    found = [*offsets(rows), *offsets(moved(route(files=1), east=2.0)), *clocks(shift(rows, day, -3))]
    assert len(found) == 3
    for finding in found:
        assert finding.statement.endswith(".")
        assert "  " not in finding.statement
        assert finding.kind
        RecordSource(
            files=["records/0.csv"], corrections=tomllib.loads(finding.proposal)
        )  # refuses what it does not know
    assert [f.proposal != "" for f in found] == [False, True, True]


def test_a_hundred_thousand_rows_take_no_time():
    line = line_of(*np.tile([20, 95, 160, 80], 205))
    rows = route(n=100_000, files=20, line=line)
    before = time.perf_counter()
    offsets(rows, line=line), clocks(rows), digit_findings(rows)
    assert time.perf_counter() - before < 10  # about 1 s on two busy cores; a loop over rows would take minutes
