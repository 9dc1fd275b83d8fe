"""Cases with known truth, few seeds: what placing must reach, and what it must not claim. See tests/bench/truth.py."""

from dataclasses import replace

import numpy as np
import pytest

from tests.bench import truth
from tests.bench.placement import by_asbuilt, by_nearest_point, score

SEEDS = range(4)


def cases(make, seeds=SEEDS, **how):
    return [make(np.random.default_rng(seed), **how) for seed in seeds]


def scored(case, by=by_asbuilt):
    return score(case, *by(case))


def rms(case, found):
    return np.sqrt(np.mean((found["chainage_m"] - case.truth["chainage_m"]) ** 2))


def test_on_a_plain_line_joints_lie_five_times_nearer_to_the_truth_than_the_nearest_point():
    for case in cases(truth.plain):
        ours, nearest = scored(case), scored(case, by_nearest_point)
        assert ours.rms_m < nearest.rms_m / 3.5
        assert (ours.wrong, ours.unplaced, ours.false_gaps) == (0, 0, 0)
    middle = [np.median([scored(c, by).rms_m for c in cases(truth.plain)]) for by in (by_asbuilt, by_nearest_point)]
    assert middle[0] < middle[1] / 5


@pytest.mark.parametrize("tell", ["", "numbers", "serials"])
def test_missing_records_are_found_between_the_right_joints(tell):
    found = [scored(case) for case in cases(truth.plain, tell=tell)]
    assert sum(s.exact for s in found) >= 18  # of 20
    assert sum(s.held for s in found) >= 19
    assert sum(s.false_gaps for s in found) == 0


@pytest.mark.parametrize("how", [{}, {"sd": 6.0}, {"stated": 0.5}, {"stated": 2.0}, {"correlation": 0.8}])
def test_the_spread_that_is_said_holds_the_truth(how):
    """Nineteen in twenty are meant; joints of a run err together, and six runs leave some play."""
    found = [scored(case) for case in cases(truth.plain, range(6), **how)]
    joints = sum(s.placed for s in found)
    assert sum(s.along for s in found) / joints > 0.85
    assert sum(s.plan for s in found) / joints > 0.85


def test_no_joint_of_a_hairpin_is_on_the_wrong_leg():
    ours = [scored(case) for case in cases(truth.hairpin)]
    assert sum(s.wrong for s in ours) == 0
    assert max(s.rms_m for s in ours) < 1.5
    assert sum(scored(case, by_nearest_point).wrong for case in cases(truth.hairpin)) > 30


def test_strings_fused_at_one_place_lie_along_the_line_and_not_at_the_machine():
    for case in cases(truth.fused_at_one_place):
        found = by_asbuilt(case)[0]
        assert rms(case, found) < 1.0
        assert found["stays"].sum() == 200  # ten strings of twenty
        assert (found.loc[found["stays"].eq(True), "placed_by"] == "tally").all()
        assert found["chainage_m"].round(0).duplicated().sum() == 0


def test_without_serials_a_string_fused_at_one_place_is_not_placed_at_the_machine():
    for case in cases(truth.fused_at_one_place, serials=False):
        found = by_asbuilt(case)[0]
        assert (found.loc[found["stays"].eq(True), "placed_by"] == "unplaced").all()
        assert (found["placed_by"] == "fix").sum() + (found["placed_by"] == "fix+tally").sum() == 10


def test_a_string_pulled_into_a_bore_lies_in_the_bore():
    for case in cases(truth.bore):
        found = by_asbuilt(case)[0]
        assert rms(case, found) < 1.0
        assert (found["placed_by"] == "tally").to_numpy().nonzero()[0].tolist() == list(range(100, 125))


@pytest.mark.parametrize("seed", range(16))
def test_every_blunder_is_found_and_moves_no_other_joint(seed):
    """Against the same case without those fixes."""
    case = truth.blunders(np.random.default_rng(seed))
    bad = case.truth["blunder"].to_numpy()
    found = by_asbuilt(case)[0]
    without = case.rows.assign(**{c: case.rows[c].mask(bad) for c in ("easting", "northing")})
    expected = by_asbuilt(replace(case, rows=without))[0]
    assert found["blunder"].to_numpy()[bad].all()
    assert not found["blunder"].to_numpy()[~bad].any()
    assert np.abs(found["chainage_m"] - expected["chainage_m"]).max() < 0.1


def test_fixes_pulled_aside_in_a_row_do_little_harm():
    found = [(scored(case), scored(case, by_nearest_point)) for case in cases(truth.multipath)]
    assert sum(ours.wrong for ours, _ in found) == 0
    assert sum(ours.rms_m for ours, _ in found) < sum(nearest.rms_m for _, nearest in found) / 2


@pytest.mark.parametrize("restart", [False, True])
def test_three_crews_on_one_line_are_three_runs(restart):
    for case in cases(truth.three_crews, restart=restart):
        found = by_asbuilt(case)[0]
        assert found.assign(machine=case.rows["machine"]).groupby("piece")["machine"].nunique().max() == 1
        assert found["piece"].nunique() == 3
        assert scored(case).wrong == 0
        assert scored(case).rms_m < scored(case, by_nearest_point).rms_m / 2


def test_joints_in_no_order_are_not_believed_to_have_one_and_that_is_said():
    for case in cases(truth.in_odd_order, shuffled=True, base=truth.plain):
        found = by_asbuilt(case)[0]
        assert found["orderless"].eq(True).mean() > 0.95
        np.testing.assert_allclose(rms(case, found), scored(case, by_nearest_point).rms_m, rtol=0.05)


def test_blocks_in_odd_order_still_help():
    for case in cases(truth.in_odd_order, shuffled=False, base=truth.plain):
        assert scored(case).wrong == 0
        assert scored(case).rms_m < scored(case, by_nearest_point).rms_m / 2


def test_a_string_on_the_bank_keeps_its_chainages():
    for case in cases(truth.on_the_bank):
        found = by_asbuilt(case)[0]
        assert rms(case, found) < 0.7
        assert not found["blunder"].any()
        assert found["offset_m"].to_numpy()[75:120] == pytest.approx(7.0, abs=5.0)


def test_twin_lines_cannot_be_told_apart():
    for case in cases(truth.twins):
        assert (by_asbuilt(case)[0]["leg_probability"] < 0.95).all()


def test_the_lines_of_a_branch_are_told_apart():
    for case in cases(truth.branch):
        assert scored(case).wrong == 0
        assert scored(case).rms_m < 1.0


def test_stated_lengths_make_pups_harmless():
    unknown, stated = ([scored(case).rms_m for case in cases(truth.pups, lengths=lengths)] for lengths in (False, True))
    assert np.median(stated) < 1.2 < np.median(unknown)
