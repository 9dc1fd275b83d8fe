"""Placing as a whole: what must not change when nothing real has changed, and gaps where records are missing."""

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.alignment import MeasuredLine
from asbuilt.judge.gaps import LineEnds, find_gaps
from tests.bench import truth
from tests.bench.placement import LAYING
from tests.place_rows import STICK, beside, placed, records, serials, straight

METRES = ("chainage_m", "offset_m", "chainage_sd_m", "offset_sd_m", "radius95_m", "fix_chainage_m", "beyond_m")
WORDS = ("placed_by", "line", "blunder", "stays", "orderless")
CASES = (truth.plain, truth.hairpin, truth.three_crews, truth.fused_at_one_place, truth.bore, truth.blunders)
EVERY_CASE = pytest.mark.parametrize("make", CASES, ids=lambda make: make.__name__)


def same(found, expected, *, names=METRES, atol=1e-6):
    for name in names:
        np.testing.assert_allclose(found[name], expected[name], atol=atol, err_msg=name)
    for name in WORDS:
        assert found[name].tolist() == expected[name].tolist(), name


def seen(make, seed=2):
    case = make(np.random.default_rng(seed))
    return case.rows, [line for _, line in case.lines]


def on_turned(rows, lines, turn, shift):
    xy = rows[["easting", "northing"]].to_numpy() @ turn.T + shift
    moved = [MeasuredLine(line.xy @ turn.T + shift, line.measure) for line in lines]
    return rows.assign(easting=xy[:, 0], northing=xy[:, 1]), moved


@EVERY_CASE
@pytest.mark.parametrize(("angle", "east", "north"), [(0.7, 3e5, 5.2e6), (-2.9, -4e5, 1e6), (np.pi / 2, 0.0, 0.0)])
def test_moving_and_turning_everything_changes_nothing(make, angle, east, north):
    rows, lines = seen(make)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    there, moved = on_turned(rows, lines, turn, np.array([east, north]))
    same(placed(there, *moved).joints, placed(rows, *lines).joints, atol=1e-4)


@EVERY_CASE
def test_in_a_mirror_left_is_right(make):
    rows, lines = seen(make)
    there, moved = on_turned(rows, lines, np.array([[-1.0, 0.0], [0.0, 1.0]]), np.zeros(2))
    found, before = placed(there, *moved).joints, placed(rows, *lines).joints
    same(found.assign(offset_m=-found["offset_m"]), before, atol=1e-3)


@EVERY_CASE
def test_reversing_the_line_mirrors_chainage_and_offset(make):
    """The length is cut to whole cells of levels: what a grid that falls elsewhere does is another test's question."""
    rows, (line,) = seen(make)
    length = np.round(line.measure[-1] / STICK) * STICK
    back = MeasuredLine(line.xy[::-1], length - line.measure[::-1])
    there, again = placed(rows, line).joints, placed(rows, back).joints
    mirrored = {name: length - again[name] for name in ("chainage_m", "fix_chainage_m")}
    same(again.assign(**mirrored, offset_m=-again["offset_m"], beyond_m=-again["beyond_m"]), there, atol=1e-3)


@EVERY_CASE
def test_shuffled_rows_are_placed_the_same(make):
    rows, lines = seen(make)
    found = placed(rows.sample(frac=1, random_state=3), *lines)
    assert found.joints.index.tolist() == rows.sample(frac=1, random_state=3).index.tolist()
    expected = placed(rows, *lines)
    same(found.joints.loc[rows.index], expected.joints, atol=0.02)  # a path of serials may be walked from its other end
    assert set(map(frozenset, found.gaps[["before", "after"]].to_numpy())) == set(
        map(frozenset, expected.gaps[["before", "after"]].to_numpy())
    )


@EVERY_CASE
def test_a_frame_in_us_survey_feet_gives_the_same_metres(make):
    """A US survey foot is 1200/3937 m: its definition, from memory; tests/published has a check of it."""
    foot = 1200 / 3937
    rows, lines = seen(make)
    in_feet = [MeasuredLine(line.xy / foot, line.measure) for line in lines]
    there = rows.assign(easting=rows["easting"] / foot, northing=rows["northing"] / foot)
    laying = replace(LAYING, reach=replace(LAYING.reach, metres_per_unit=foot))
    same(placed(there, *in_feet, laying=laying).joints, placed(rows, *lines).joints)


@pytest.mark.parametrize("by", [0.4, 0.75, 1.1, 4321.7])
@pytest.mark.parametrize("make", [truth.plain, truth.three_crews, truth.blunders], ids=lambda make: make.__name__)
def test_where_the_chainage_begins_does_not_matter(make, by):
    rows, (line,) = seen(make)
    found, expected = placed(rows, MeasuredLine(line.xy, line.measure + by)).joints, placed(rows, line).joints
    found = found.assign(chainage_m=found["chainage_m"] - by, fix_chainage_m=found["fix_chainage_m"] - by)
    same(found, expected, names=("chainage_m", "offset_m", "fix_chainage_m"), atol=0.05)


def the_gaps(found, *, length):
    joints = found.joints.assign(joint_id=[str(i) for i in found.joints.index])
    ends = LineEnds("main", 0.0, length, first_joint=False, last_joint=False, complete=True)
    gaps = find_gaps(joints, ends, stick_m=STICK, hiding=found.gaps)
    return gaps[gaps["kind"] == "between joints"] if len(gaps) else gaps


@pytest.mark.parametrize("noise", [0.3, 1.5])
@pytest.mark.parametrize("k", [1, 2, 3, 4, 5, 8, 20])
def test_records_that_are_missing_in_a_row_are_one_gap_of_so_many(k, noise):
    line, at = straight(1212.0), STICK * np.arange(1, 101)
    keep = np.delete(np.arange(100), np.arange(40, 40 + k))
    for seed in range(3):
        found = placed(records(beside(line, at[keep], noise=noise, seed=seed), sd_m=noise), line)
        gaps = the_gaps(found, length=1212.0)
        assert gaps["missing_records"].tolist() == [k]
        assert gaps[["before", "after"]].to_numpy().tolist() == [[39, 40]]
        assert np.abs(found.joints["chainage_m"] - at[keep]).max() < 1.0


@pytest.mark.parametrize("tell", ["time", "numbers", "serials"])
def test_where_no_record_is_missing_there_is_no_gap(tell):
    line, at = straight(1212.0), STICK * np.arange(1, 101)
    for seed in range(5):
        told = serials(range(100)) if tell == "serials" else {"joint": "same" if tell == "time" else None}
        rows = records(beside(line, at, noise=3.0, seed=seed), sd_m=3.0)
        rows = rows if told.get("joint", "") is None else rows.assign(**told)
        assert the_gaps(placed(rows, line), length=1212.0).empty
