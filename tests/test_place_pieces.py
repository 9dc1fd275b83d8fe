"""Crews that move, turn, fuse elsewhere or record in no order: what one piece is, and what is not believed."""

import numpy as np
import pytest

from asbuilt.alignment import locate
from tests.bench.truth import in_odd_order, line_through, plain
from tests.place_rows import STICK, beside, placed, records, serials, straight

LINE = straight(3000.0)


def pieces_of(found):
    """The sizes of the pieces, in the order of the rows."""
    return found.joints.groupby("piece", sort=False).size().tolist()


def error(found, at):
    return np.abs(found.joints["chainage_m"].to_numpy() - at)


@pytest.mark.parametrize("noise", [0.3, 3.0])
def test_a_crew_that_moves_to_another_reach_begins_a_piece(noise):
    at = np.concatenate([240 + STICK * np.arange(30), 1800 + STICK * np.arange(30)])
    found = placed(records(beside(LINE, at, noise=noise), sd_m=noise), LINE)
    assert pieces_of(found) == [30, 30]
    assert error(found, at).max() < 2 * noise
    assert found.gaps.empty
    assert found.joints["row_before"].isin([-1]).to_numpy().nonzero()[0].tolist() == [0, 30]


@pytest.mark.parametrize("noise", [0.3, 3.0])
def test_a_run_may_go_against_the_chainage(noise):
    at = 900.0 - STICK * np.arange(40)
    found = placed(records(beside(LINE, at, noise=noise), sd_m=noise), LINE)
    assert pieces_of(found) == [40]
    assert error(found, at).max() < 1.5 * noise
    assert (found.joints["placed_by"] == "fix+tally").all()


def test_a_crew_that_works_out_from_the_middle_in_both_directions_makes_two_pieces():
    at = np.concatenate([1000 + STICK * np.arange(25), 1000 - STICK * np.arange(1, 26)])
    found = placed(records(beside(LINE, at, noise=1.0), sd_m=1.0), LINE)
    assert pieces_of(found) == [25, 25]
    assert error(found, at).max() < 1.5


def test_an_order_without_sense_is_not_used_and_each_fix_stands_for_itself():
    at = np.random.default_rng(4).permutation(STICK * np.arange(1, 101))
    xy = beside(LINE, at, noise=2.0)
    found = placed(records(xy, sd_m=2.0), LINE)
    assert found.joints["orderless"].all()
    assert (found.joints["placed_by"] == "fix").all()
    np.testing.assert_allclose(found.joints["chainage_m"], xy[:, 0])
    assert found.gaps.empty


@pytest.mark.parametrize("base", [plain, "hairpin"])
def test_shuffled_order_is_said_and_never_worse_than_the_fix(base):
    how = {} if base == "hairpin" else {"base": base}
    case = in_odd_order(np.random.default_rng(3), shuffled=True, **how)
    found = placed(case.rows, *(line for _, line in case.lines)).joints
    assert found["orderless"].mean() > 0.95
    assert (found["placed_by"] == "fix").mean() > 0.95


def test_without_machine_and_serials_nothing_is_said_of_an_order():
    found = placed(records(beside(LINE, STICK * np.arange(1, 41), noise=2.0), machine=None), LINE).joints
    assert (found["placed_by"] == "fix").all()
    assert not found["orderless"].any()


def test_a_string_that_was_moved_lies_where_its_serials_put_it():
    at = STICK * np.arange(1, 91)
    moved = (np.arange(90) >= 40) & (np.arange(90) < 60)
    xy = beside(LINE, at, noise=0.5)
    xy[moved] = beside(LINE, at[moved] + 900.0, noise=0.5, seed=1)
    found = placed(records(xy, sd_m=0.5, **serials(range(90))), LINE)
    assert error(found, at).max() < 1.0
    assert (found.joints["placed_by"] == "tally").to_numpy().nonzero()[0].tolist() == list(range(40, 60))


def test_the_same_string_without_serials_stays_where_its_fixes_are():
    at = STICK * np.arange(1, 91)
    at = np.where((np.arange(90) >= 40) & (np.arange(90) < 60), at + 900.0, at)
    found = placed(records(beside(LINE, at, noise=0.5), sd_m=0.5), LINE)
    assert error(found, at).max() < 1.0


def test_a_run_that_goes_on_to_another_line_begins_a_piece():
    branch = line_through((600, 0), (600, 800))
    out = np.concatenate([beside(LINE, STICK * np.arange(1, 50)), beside(branch, STICK * np.arange(1, 50))])
    xy = out + np.random.default_rng(0).normal(0, 0.5, out.shape)
    found = placed(records(xy, sd_m=0.5), LINE, branch)
    assert found.joints["line"].tolist() == ["main"] * 49 + ["second"] * 49
    assert found.joints.groupby("piece")["line"].nunique().max() == 1
    assert error(found, np.tile(STICK * np.arange(1, 50), 2)).max() < 1.0


@pytest.mark.parametrize("start", [0.0, 5000.0, -3000.0])
@pytest.mark.parametrize("lead", [3, 4])
def test_joints_without_a_fix_before_the_first_one_are_placed_by_their_serials(start, lead):
    line = straight(2000.0, start=start)
    at = start + 600 + STICK * np.arange(40)
    xy = beside(line, at, noise=0.5)
    xy[:lead] = np.nan
    found = placed(records(xy, sd_m=0.5, **serials(range(40))), line)
    assert error(found, at).max() < 1.5
    assert found.joints["placed_by"].tolist() == ["tally"] * lead + ["fix+tally"] * (40 - lead)


@pytest.mark.parametrize("lead", [5, 20])
def test_a_string_without_a_fix_before_the_first_one_is_placed_by_its_serials(lead):
    at = 600 + STICK * np.arange(40)
    xy = beside(LINE, at, noise=0.5)
    xy[:lead] = np.nan
    found = placed(records(xy, sd_m=0.5, **serials(range(40))), LINE)
    assert error(found, at).max() < 2.0
    assert found.gaps.empty


def test_without_serials_joints_before_the_first_fix_stay_unplaced():
    at = 600 + STICK * np.arange(40)
    xy = beside(LINE, at, noise=0.5)
    xy[:8] = np.nan
    found = placed(records(xy, sd_m=0.5), LINE).joints
    assert found["placed_by"].tolist() == ["unplaced"] * 8 + ["fix+tally"] * 32


def test_joints_without_a_fix_inside_a_run_are_placed_by_tally():
    at = 600 + STICK * np.arange(40)
    xy = beside(LINE, at, noise=0.5)
    xy[[7, 8, 9, 22]] = np.nan
    found = placed(records(xy, sd_m=0.5), LINE)
    assert np.flatnonzero(found.joints["placed_by"] == "tally").tolist() == [7, 8, 9, 22]
    assert error(found, at).max() < 1.0
    assert found.joints.loc[[7, 8, 9, 22], ["offset_m", "fix_chainage_m"]].isna().all(axis=None)
    assert found.joints["radius95_m"].notna().all()


@pytest.mark.parametrize("every", [1, 2])
def test_a_crew_that_joins_doubles_and_states_no_length_is_placed_by_its_fixes(every):
    """Sticks are joined in pairs first: another crew's joints stand between, and every step is two sticks long."""
    at = 600 + 2 * STICK * np.arange(40)
    found = placed(records(beside(LINE, at, noise=0.5, seed=every), sd_m=0.5), LINE)
    assert error(found, at).max() < 2.0


def test_two_machines_side_by_side_are_two_runs():
    """Both fuse every second stick: each run has two sticks between its joints, of which it records one."""
    at = 600 + STICK * np.arange(60)
    machine = np.where(np.arange(60) % 2, "B", "A")
    found = placed(records(beside(LINE, at, noise=0.5), sd_m=0.5, machine=machine), LINE)
    assert error(found, at).max() < 1.5
    assert found.joints.assign(machine=machine).groupby("piece")["machine"].nunique().max() == 1


def test_a_string_on_the_bank_is_no_row_of_blunders():
    """A reach rolled in from the bank, 7 m off: its chainages hold, and its offsets are those of the bank."""
    at = STICK * np.arange(1, 91)
    bank = 7.0 * ((np.arange(90) >= 30) & (np.arange(90) < 60))
    xy = locate(LINE, at) - np.column_stack([np.zeros(90), bank]) + np.random.default_rng(0).normal(0, 0.5, (90, 2))
    found = placed(records(xy, sd_m=0.5), LINE)
    assert error(found, at).max() < 1.0
    assert found.joints["offset_m"].to_numpy() == pytest.approx(bank, abs=2.0)
