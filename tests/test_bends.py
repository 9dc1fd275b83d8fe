"""Bends by known geometry: circles and straights with seeded noise, corners of an alignment, wrong positions."""

import time

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.alignment import MeasuredLine
from asbuilt.curvature import of_three
from asbuilt.handbook import bend_limits, bend_radii
from asbuilt.judge.bends import Laid, design_bends, judge_bends
from asbuilt.judge.scale import Span, explained_by_fusing, lengths_counted, scale_explained, take_up, thermal_span
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.quantities import LengthUnit

OD, DR, STICK = 0.63, 17.0, 12.0
LIMIT = 27 * OD  # 17.01 m


def path(turns: np.ndarray, step: float = STICK) -> np.ndarray:
    """Return points a step apart whose chords turn so many radians to the right, shape (n + 2, 2)."""
    heading = np.concatenate([[0.0], np.cumsum(turns)])
    return np.concatenate([[[0.0, 0.0]], np.cumsum(step * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0)])


def circle_turn(radius: float) -> float:
    """Return how much chords of a stick turn on a circle."""
    return float(2 * np.arcsin(STICK / 2 / radius))


def with_turns(count: int, at: slice | int, turn: float) -> np.ndarray:
    turns = np.zeros(count)
    turns[at] = turn
    return path(turns)


def joints(xy: np.ndarray, sd: float = 0.05, **others: object) -> pd.DataFrame:
    columns = {"easting": xy[:, 0], "northing": xy[:, 1], "sd_m": sd, "in_line": True, "kind": "production"}
    columns |= {"line": "main", "chainage_m": STICK * np.arange(len(xy)), "independent": True}
    return pd.DataFrame(columns | others)


def judged(frame: pd.DataFrame, *, od: float = OD, dr: float = DR, **how: object) -> Laid:
    return judge_bends(frame, np.full(len(frame), od), np.full(len(frame), dr), **how)


def shaken(xy: np.ndarray, sd: float, seed: int) -> np.ndarray:
    return xy + np.random.default_rng(seed).normal(0, sd, xy.shape)


# curvature of three points


@pytest.mark.parametrize("shares", [(0.2, 0.7), (0.5, 0.5), (0.05, 0.9)])
def test_any_three_points_of_a_circle_have_its_radius(shares: tuple[float, float]) -> None:
    angle = np.array([0.0, *np.cumsum(shares)])
    points = 40.0 * np.column_stack([np.cos(angle), -np.sin(angle)])[None]  # clockwise: to the right
    assert 1 / of_three(points, np.zeros((1, 3))).curvature == pytest.approx([40.0])
    assert 1 / of_three(points[:, ::-1], np.zeros((1, 3))).curvature == pytest.approx([-40.0])


@given(st.floats(0.1, 0.9), st.tuples(*[st.floats(0.01, 0.5)] * 3))
def test_on_a_straight_the_error_is_that_of_the_ordinate(share: float, sd: tuple[float, float, float]) -> None:
    p, q = 24.0 * share, 24.0 * (1 - share)
    found = of_three(np.array([[[0.0, 0.0], [p, 0.0], [24.0, 0.0]]]), np.array([sd]))
    ordinate = np.sqrt(sd[1] ** 2 + ((1 - share) * sd[0]) ** 2 + (share * sd[2]) ** 2)
    assert found.sd == pytest.approx([2 * ordinate / (p * q)])
    assert found.share == pytest.approx([share])


@pytest.mark.parametrize(("radius", "sd"), [(15.75, 0.05), (60.0, 0.05), (15.75, 0.5), (400.0, 0.3)])
def test_the_interval_holds_the_true_curvature_as_often_as_it_says(radius: float, sd: float) -> None:
    """40,000 seeded triples: 95 % is met to 0.7 %, six times what chance allows, for the error is linearised."""
    count = 40_000
    three = path(np.array([circle_turn(radius)]))
    found = of_three(shaken(np.broadcast_to(three, (count, 3, 2)), sd, seed=int(radius)), np.full((count, 3), sd))
    held = np.abs(found.curvature - 1 / radius) <= 1.959964 * found.sd
    assert held.mean() == pytest.approx(0.95, abs=0.007)


def test_points_that_coincide_have_no_curvature() -> None:
    found = of_three(np.zeros((1, 3, 2)), np.full((1, 3), 0.1))
    assert np.isnan(found.curvature).all()


# limits


def test_between_classes_the_larger_ratio_counts_and_beyond_the_table_none() -> None:
    found = bend_limits(np.array([7.4, 10.0, 16.0, 24.0, 30.0, 6.0, 45.0, np.nan]))
    np.testing.assert_array_equal(found.ratio, [20, 25, 27, 34, 42, np.nan, np.nan, np.nan])
    np.testing.assert_array_equal(found.short_term, [10, 13, 17, np.nan, np.nan, np.nan, np.nan, np.nan])
    assert len(bend_limits(np.array([])).ratio) == 0


@pytest.mark.parametrize(("od", "wall", "dr"), [(1000, 38.2, 26), (250, 11.9, 21), (315, 15.0, 21), (1400, 53.2, 26)])
def test_a_tabulated_wall_belongs_to_its_class(od: float, wall: float, dr: float) -> None:
    assert bend_limits(np.array([od / wall])).ratio == bend_limits(np.array([dr])).ratio


def test_ratios_grow_with_the_dimension_ratio() -> None:
    ratios = [c.ratio for c in bend_radii().classes]
    assert ratios == sorted(ratios)
    assert [c.dr for c in bend_radii().classes] == sorted({c.dr for c in bend_radii().classes})


# bends as laid


def test_a_bend_that_is_too_tight_is_one_finding() -> None:
    laid = judged(joints(shaken(with_turns(40, slice(19, 22), circle_turn(12.1)), 0.05, seed=3)))
    assert len(laid.bends) == 1
    bend = laid.bends.iloc[0]
    assert bend["low_m"] <= 12.1 <= bend["high_m"] < LIMIT
    assert bend["side"] == "right"
    assert bend["joints"] == (20, 21, 22)
    assert bend["strain"] == pytest.approx(OD / 2 / bend["radius_m"])
    assert 19 * STICK <= bend["from_chainage_m"] < bend["to_chainage_m"] <= 23 * STICK
    assert set(laid.joints.index[laid.joints["bend_verdict"] == OUT_OF_WINDOW]) == {20, 21, 22}
    assert all(laid.joints.loc[i, "reasons"] == (bend["sentence"],) for i in (20, 21, 22))
    assert laid.joints.loc[10, "reasons"] == ()
    assert "trade handbook" in laid.statements[-1]
    assert "(second-hand)" in laid.statements[-1]
    assert "the responsible engineer decides" in laid.statements[-1]


def test_the_sentence_says_radius_interval_and_limit() -> None:
    frame = joints(with_turns(9, slice(3, 6), -circle_turn(12.1)))
    (sentence,) = judged(frame).bends["sentence"]
    assert sentence.startswith("laid radius 12.1 m (95 %: 11.9 to 12.3 m), tighter than 27 x OD = 17.0 m")
    (in_feet,) = judged(frame, unit=LengthUnit("ft", 0.3048)).bends["sentence"]
    assert in_feet.endswith("tighter than 27 x OD = 55.8 ft")


def test_two_bends_apart_and_a_counter_bend_are_findings_of_their_own() -> None:
    turns = np.zeros(60)
    turns[[10, 11, 40]], turns[12:14] = circle_turn(12.0), -circle_turn(12.0)
    bends = judged(joints(path(turns))).bends
    assert list(bends["side"]) == ["right", "left", "right"]
    assert bends["joints"].map(set).map(max).is_monotonic_increasing


def test_straight_pipe_with_good_positions_is_in_window() -> None:
    laid = judged(joints(shaken(path(np.zeros(30)), 0.05, seed=4)))
    assert list(laid.joints["bend_verdict"]) == [CANNOT_TELL, *[IN_WINDOW] * 30, CANNOT_TELL]
    assert laid.bends.empty
    (statement,) = laid.statements
    assert "30 joints" in statement
    assert "41° between two joints stays hidden" in statement  # half of 24 m over 17.01 m: 0.71 radians


def test_a_gentle_curve_is_in_window() -> None:
    laid = judged(joints(shaken(path(np.full(40, circle_turn(60.0))), 0.3, seed=5), 0.3))
    inner = laid.joints.iloc[1:-1]
    assert (inner["bend_verdict"] == IN_WINDOW).all()
    assert ((inner["bend_low_m"] <= 60) & (inner["bend_high_m"] >= 60)).mean() > 0.85


def test_noise_that_hides_the_bend_is_said_once() -> None:
    laid = judged(joints(shaken(path(np.zeros(200)), 1.4, seed=6), 1.4))
    told = laid.joints["bend_verdict"].value_counts()
    assert told[CANNOT_TELL] > 100
    assert OUT_OF_WINDOW not in told
    assert sum("cannot be told" in s for s in laid.statements) == 1
    assert laid.joints["reasons"].map(len).sum() == 0


@pytest.mark.parametrize("sd", [0.05, 0.5, 1.0, 1.4, 2.0])
def test_straight_lines_are_hardly_ever_called_bent(sd: float) -> None:
    """The chance of one false finding on a line is at most 5 %: of 200 lines of 100 joints 20 is far beyond it."""
    straight = path(np.zeros(98))
    alarms = [len(judged(joints(shaken(straight, sd, seed=1000 + i), sd)).bends) > 0 for i in range(200)]
    assert sum(alarms) < 20


def test_pipe_just_at_the_limit_is_hardly_ever_called_too_tight() -> None:
    bent = path(np.full(20, circle_turn(LIMIT)))
    alarms = [len(judged(joints(shaken(bent, 0.1, seed=i), 0.1)).bends) > 0 for i in range(200)]
    assert sum(alarms) < 20


def test_longer_bases_prove_what_noise_hides_on_the_shortest() -> None:
    od, laid_at = 1.6, 36.0  # DR 17: least radius 43.2 m
    frame = joints(shaken(path(np.full(12, circle_turn(laid_at))), 0.4, seed=8), 0.4)
    laid = judged(frame, od=od)
    assert len(laid.bends) == 1
    assert (laid.joints.loc[laid.joints["bend_verdict"] == OUT_OF_WINDOW, "bend_base_m"] > 3 * STICK).any()


@pytest.mark.parametrize("wrong", [1, 2, 20, 38])
@pytest.mark.parametrize("off", [(6.0, 0.0), (40.0, 0.0), (6.0, 5.0)])
def test_one_wrong_position_is_no_bend(wrong: int, off: tuple[float, float]) -> None:
    straight = path(np.zeros(38))
    straight[wrong] += off
    laid = judged(joints(straight))
    assert laid.bends.empty
    assert laid.joints.loc[wrong, "bend_verdict"] == CANNOT_TELL
    assert "out of line with its neighbours" in laid.joints.loc[wrong, "bend_cause"]
    assert (laid.joints.loc[[i for i in range(1, 39) if abs(i - wrong) > 1], "bend_verdict"] == IN_WINDOW).all()


def test_a_kink_at_one_joint_is_a_bend_and_no_wrong_position() -> None:
    for at in (0, 19, 37):
        (bend,) = judged(joints(with_turns(38, at, np.radians(60)))).bends.itertuples()
        assert bend.joints == (at + 1,)
    assert bend.radius_m == pytest.approx(12.0)  # the circle through both neighbours 12 m away


def test_beside_a_fitting_nothing_is_proven_and_more_is_asked() -> None:
    xy = with_turns(38, 19, np.radians(60))
    kind = np.where(np.arange(len(xy)) == 20, "fitting", "production")
    laid = judged(joints(xy, kind=kind))
    assert laid.bends.empty
    assert laid.joints.loc[20, "bend_verdict"] == CANNOT_TELL
    assert "a fitting stands beside it" in laid.joints.loc[20, "bend_cause"]
    gentle = path(np.full(38, circle_turn(50.0)))  # 27 x OD is 17.0 m, 100 x OD is 63 m
    assert judged(joints(gentle, 0.01)).joints.loc[20, "bend_verdict"] == IN_WINDOW
    assert judged(joints(gentle, 0.01, kind=kind)).joints.loc[20, "bend_verdict"] == CANNOT_TELL
    gentler = path(np.full(38, circle_turn(80.0)))
    assert judged(joints(gentler, 0.01, kind=kind)).joints.loc[20, "bend_verdict"] == IN_WINDOW


@pytest.mark.parametrize(
    ("column", "value", "verdict", "cause"),
    [
        ("easting", np.nan, NOT_RECORDED, ""),
        ("in_line", False, NO_WINDOW, ""),
        ("independent", False, CANNOT_TELL, "taken from the alignment"),
        ("sd_m", np.nan, CANNOT_TELL, "states no accuracy"),
        ("sd_m", 6.0, CANNOT_TELL, "too poor"),
        ("chainage_m", np.nan, CANNOT_TELL, "no place in the line"),
    ],
)
def test_a_joint_that_shows_nothing_does_not_hide_its_neighbours(
    column: str, value: object, verdict: str, cause: str
) -> None:
    frame = joints(path(np.zeros(18), step=8.0))  # without it 16 m apart, which is within the least radius
    frame.loc[10, column] = value
    laid = judged(frame).joints
    assert laid.loc[10, "bend_verdict"] == verdict
    assert cause in laid.loc[10, "bend_cause"]
    assert np.isnan(laid.loc[10, "bend_radius_m"])
    assert list(laid.loc[[9, 11], "bend_verdict"]) == [IN_WINDOW, IN_WINDOW]


def test_small_pipe_may_bend_between_joints_and_is_never_in_window() -> None:
    laid = judged(joints(path(np.zeros(18))), od=0.11, dr=11.0)
    assert set(laid.joints["bend_verdict"]) == {CANNOT_TELL}
    assert "farther apart than the least radius" in laid.statements[0]


def test_an_unknown_size_cannot_tell_and_a_project_ratio_can() -> None:
    frame = joints(with_turns(18, 9, np.radians(60)))
    assert "not known" in judged(frame, dr=np.nan).joints.loc[10, "bend_cause"]
    by_project = judged(frame, dr=np.nan, project_ratio=30.0)
    assert "tighter than 30 x OD = 18.9 m" in by_project.bends["sentence"][0]
    assert "the project's ratio" in by_project.statements[-1]


def test_lines_are_not_mixed_and_rows_may_come_in_any_order() -> None:
    one, two = with_turns(18, 9, np.radians(60)), with_turns(18, 4, -np.radians(60))
    both = pd.concat([joints(one, line="a"), joints(two + 5.0, line="b")], ignore_index=True)
    mixed = both.sample(frac=1.0, random_state=1)
    plain, shuffled = judged(both), judged(mixed)
    pd.testing.assert_frame_equal(shuffled.joints.sort_index(), plain.joints)
    pd.testing.assert_frame_equal(shuffled.bends, plain.bends)
    assert list(plain.bends["line"]) == ["a", "b"]
    assert list(plain.bends["side"]) == ["right", "left"]


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_few_joints_are_no_trouble(count: int) -> None:
    laid = judged(joints(path(np.zeros(3))[:count]))
    assert len(laid.joints) == count
    assert laid.bends.empty
    assert list(laid.joints["bend_verdict"].eq(IN_WINDOW)) == [count == 3 and i == 1 for i in range(count)]


@given(st.floats(0, 2 * np.pi), st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.integers(0, 5))
def test_moving_and_turning_the_whole_line_changes_nothing(angle: float, east: float, north: float, seed: int) -> None:
    turns = np.zeros(25)
    turns[10:13] = circle_turn(12.0)
    xy = shaken(path(turns), 0.1, seed)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    here, there = judged(joints(xy, 0.1)), judged(joints(xy @ spin.T + [east, north], 0.1))
    assert list(here.joints["bend_verdict"]) == list(there.joints["bend_verdict"])
    # beside a million metres a position is held to 1e-10 m, and radii of straight pipe are long
    assert 1 / here.joints["bend_radius_m"].to_numpy() == pytest.approx(
        1 / there.joints["bend_radius_m"].to_numpy(), abs=1e-7, nan_ok=True
    )
    assert list(here.bends["joints"]) == list(there.bends["joints"])


@given(st.integers(0, 20))
def test_the_line_read_backwards_or_mirrored_bends_as_much(seed: int) -> None:
    xy = shaken(with_turns(25, slice(10, 13), circle_turn(12.0)), 0.1, seed)
    ahead, back = judged(joints(xy, 0.1)), judged(joints(xy[::-1], 0.1))
    mirrored = judged(joints(xy * [-1, 1], 0.1))
    assert list(ahead.joints["bend_verdict"]) == list(back.joints["bend_verdict"])[::-1]
    assert set(ahead.bends["side"]) == {"right"}
    assert set(back.bends["side"]) == set(mirrored.bends["side"]) == {"left"}
    assert ahead.bends["radius_m"].to_numpy() == pytest.approx(back.bends["radius_m"].to_numpy())


def test_a_hundred_thousand_joints_take_well_under_a_second() -> None:
    frame = joints(shaken(path(np.zeros(99_998)), 0.05, seed=1))
    begun = time.perf_counter()
    laid = judged(frame)
    assert time.perf_counter() - begun < 3.0  # measured 0.4 s; machines that run tests are slower and shared
    assert (laid.joints["bend_verdict"] == IN_WINDOW).sum() == 99_998


# bends that the alignment asks for


def measured(xy: np.ndarray, start: float = 0.0) -> MeasuredLine:
    return MeasuredLine(xy, start + np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]))


def asked(
    xy: np.ndarray, least: float = LIMIT, *, offset: float = 0.0, fittings: tuple[float, ...] = ()
) -> pd.DataFrame:
    return design_bends(measured(xy), least, stick_m=STICK, offset_m=offset, fittings_m=np.array(fittings))


def drawn(radius: float, chord: float, *, sweep: float = np.pi / 2) -> np.ndarray:
    """Return a curve drawn in chords between two straights of 200 m."""
    count = max(1, round(radius * sweep / chord))
    turns = np.full(count, sweep / count)
    turns[0], last = turns[0] / 2, sweep / count / 2
    steps = np.full(count + 2, 2 * radius * np.sin(sweep / count / 2))
    steps[[0, -1]] = 200.0
    heading = np.concatenate([[0.0], np.cumsum(np.append(turns, last))])
    legs = steps[:, None] * np.column_stack([np.sin(heading), np.cos(heading)])
    return np.concatenate([[[0.0, 0.0]], np.cumsum(legs, axis=0)])


@pytest.mark.parametrize("chord", [0.3, 2.0, 7.0, 15.0, 29.0])
def test_a_curve_drawn_in_chords_is_as_tight_as_the_curve(chord: float) -> None:
    """An offset window of 2 m lets pipe round the corners of coarse chords, as the curve did before it was drawn."""
    curve = drawn(100.0, chord)
    assert asked(curve, least=90.0, offset=2.0).empty
    (found,) = asked(curve, least=115.0, offset=2.0).itertuples()
    assert found.radius_m == pytest.approx(100.0, rel=0.1)
    assert found.side == "right"


def test_a_corner_is_a_bend_and_an_elbow_explains_it() -> None:
    corner = np.array([[0.0, 0.0], [0.0, 300.0], [-300.0, 300.0]])
    (bare,) = asked(corner, offset=2.0).itertuples()
    assert (bare.side, bare.explained) == ("left", False)
    assert bare.turn_deg == pytest.approx(90.0)
    assert bare.radius_m == pytest.approx(STICK / (np.pi / 2))
    assert bare.from_chainage_m < 300 < bare.to_chainage_m
    assert "no fitting is recorded there" in bare.sentence
    assert "tighter than the least radius of 17.0 m" in bare.sentence
    (explained,) = asked(corner, offset=2.0, fittings=(40.0, 300.6)).itertuples()
    assert explained.explained
    assert "a fitting stands there" in explained.sentence
    (elsewhere,) = asked(corner, offset=2.0, fittings=(250.0,)).itertuples()
    assert not elsewhere.explained


def test_a_corner_in_two_vertices_or_many_is_the_same_bend() -> None:
    fine = drawn(1.0, 0.1)
    (found,) = asked(fine).itertuples()
    assert found.turn_deg == pytest.approx(90.0, abs=1.0)  # the outermost vertices reach a little beyond the stick
    two = np.array([[0.0, 0.0], [0.0, 300.0], [1.0, 301.0], [300.0, 301.0]])
    (found,) = asked(two).itertuples()
    assert found.turn_deg == pytest.approx(90.0 * STICK / (STICK + np.sqrt(2)))  # spread over the short leg as well


def test_jitter_of_a_digitised_line_is_no_bend() -> None:
    along = np.arange(0.0, 500.0, 0.5)
    jitter = np.column_stack([along, np.random.default_rng(2).normal(0, 0.02, len(along))])
    assert np.abs(np.diff(np.arctan2(*np.diff(jitter, axis=0).T))).max() > STICK / LIMIT / 10  # vertex by vertex it is
    assert asked(jitter).empty


def test_a_small_turn_can_be_rounded_and_a_dogleg_cannot() -> None:
    ten = np.radians(10)
    assert asked(np.array([[0.0, 0.0], [0.0, 200.0], [200 * np.sin(ten), 200 + 200 * np.cos(ten)]])).empty
    dogleg = asked(np.array([[0.0, 0.0], [0.0, 200.0], [20.0, 200.0], [20.0, 400.0]]))
    assert list(dogleg["side"]) == ["right", "left"]


def test_a_straight_alignment_or_an_unknown_radius_asks_nothing() -> None:
    straight = np.array([[0.0, 0.0], [100.0, 0.0]])
    assert asked(straight).empty
    assert asked(np.array([[0.0, 0.0], [0.0, 300.0], [300.0, 300.0]]), least=np.nan).empty


# the scale of a string


def scale(value: float, sd: float = 1e-4, **how: object) -> object:
    known = {"stick_m": STICK, "wall_m": 0.0572, "measured_c": Span(15, 45), "laid_c": Span(8, 12)}
    return scale_explained(value, sd, **(known | how))


def test_a_string_that_cooled_and_was_fused_is_explained() -> None:
    found = scale(-0.010)
    assert found.verdict == IN_WINDOW
    assert found.excess == 0
    assert "10.0 per mille shorter than its tally (sd 0.1): explained" in found.sentence
    assert "can explain up to 16.3 per mille shorter, for soil may have held the pipe" in found.sentence


def test_bounds_are_those_of_the_arithmetic() -> None:
    """By hand: 37 K x 2.0e-4 = 7.4 per mille, and (57.2 + 2 x 25) mm of 12 m = 8.93 per mille."""
    assert thermal_span(Span(-37, -3)) == Span(pytest.approx(-0.0074), 0.0)
    assert take_up(STICK, 0.0572).high == pytest.approx(0.1072 / 12)
    assert scale(0.0).span == Span(pytest.approx(-0.0074 - 0.1072 / 12), 0.0)


@pytest.mark.parametrize(("value", "excess"), [(-0.025, -0.025 + 0.0074 + 0.1072 / 12), (0.01, 0.01)])
def test_what_is_beyond_them_is_said_with_its_figure(value: float, excess: float) -> None:
    found = scale(value)
    assert found.verdict == OUT_OF_WINDOW
    assert found.excess == pytest.approx(excess)
    assert f"{1000 * abs(excess):.1f} per mille more than can be explained" in found.sentence


def test_an_uncertain_scale_or_temperature_cannot_tell() -> None:
    assert scale(-0.025, sd=0.01).verdict == CANNOT_TELL
    unknown = scale(-0.0139, measured_c=None, laid_c=None)
    assert unknown.verdict == CANNOT_TELL
    assert "the rest would need a change of 25 °C at the least" in unknown.sentence  # (13.9 - 8.93) per mille / 2.0e-4
    assert scale(-0.0139, laid_c=None).verdict == CANNOT_TELL
    assert scale(-0.05, measured_c=None, laid_c=None).verdict == OUT_OF_WINDOW  # 205 K
    assert scale(np.nan).verdict == CANNOT_TELL


def test_a_scale_within_its_uncertainty_needs_no_explanation() -> None:
    sticks = lengths_counted(np.array([0.0, 12.5, 25.0, 12.5]), 12.5, LengthUnit())
    said = explained_by_fusing(0.0001, 0.0008, 12.5, None, against=sticks)
    assert said == (
        "laid 0.1 per mille longer than whole sticks of 12.5 m (sd 0.8): within its uncertainty, nothing to explain."
    )
    beyond = explained_by_fusing(0.0018, 0.0008, 12.5, None, against=sticks)  # 2.25 sd
    assert "nothing to explain" not in beyond
    assert "a change of 9 °C at the least" in beyond  # 1.8 per mille / 2.0e-4
    assert "less than 1 °C" in explained_by_fusing(-0.0041, 0.0008, 12.5, None, against=sticks)  # facing: 4.0 per mille


def test_a_tally_is_named_only_where_a_pipe_has_a_length_of_its_own() -> None:
    pipes = 12.0 * np.array([0.0, 1.0, 2.0, 1.0])
    assert lengths_counted(pipes, 12.0, LengthUnit("ft", 0.3048)) == "whole sticks of 39.37 ft"
    assert lengths_counted(pipes * 0.9996, 12.0, LengthUnit()) == "whole sticks of 12 m"
    assert lengths_counted(pipes - [0, 0, 0, 0.03], 12.0, LengthUnit()) == "its tally"
    assert lengths_counted(pipes * 1.003, 12.0, LengthUnit()) == "its tally"  # all alike, and no grid makes that
    assert lengths_counted(np.array([np.nan]), 12.0, LengthUnit()) == "whole sticks of 12 m"


def test_without_a_wall_fusing_explains_facing_only() -> None:
    assert scale(0.0, wall_m=None, measured_c=None, laid_c=None).span.low == pytest.approx(-0.05 / 12)
