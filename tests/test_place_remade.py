"""Joints that were made again stand where the one that they replace stood. All invented.

How much a cut takes off is common practice, no source: a pipe's diameter to a few feet, 1 m to either side with 95 %.
"""

import numpy as np
import pandas as pd
import pytest

from asbuilt.settings.model import StringSpec
from tests.place_rows import LAYING, STICK, beside, placed, records, serials, straight

N, OLD = 40, 20
LINE = straight(STICK * (N + 2))
AT = STICK * np.arange(1, N + 1)
LATE = pd.Timestamp("2026-03-01")


def with_again(*again, noise=3.0, seed=1, old=None, **columns):
    """Rows of N joints, and behind them joints made again in place of the 21st, each a dict of what it states."""
    rows = records(beside(LINE, AT, noise=noise, seed=seed), sd_m=max(noise, 0.05), **columns)
    for name, value in (old or {}).items():
        rows.loc[OLD, name] = value
    made = [rows.iloc[[OLD]].assign(joint=f"R{k}", joint_id=f"R{k}", fused_at=LATE, **a) for k, a in enumerate(again)]
    rows = pd.concat([rows, *made], ignore_index=True)
    links = [pd.NA] * N + [a.get("remakes", OLD) for a in again]
    return rows.assign(remakes=pd.array(links, dtype="Int64"))


def fix(chainage, sd=3.0, **more):
    return {"easting": float(chainage), "northing": 0.0, "sd_m": sd, **more}


def test_a_remade_joint_stands_between_the_neighbours_of_the_old_one_whatever_its_coarse_fix_says():
    """Its fix is 5 m off, and both neighbours are a stick away: by the fix alone it would stand 7 m from one."""
    rows = with_again(fix(AT[OLD] - 5.0))
    found, without = (placed(r, LINE).joints for r in (rows, rows.iloc[:N]))
    again = found.loc[N]
    assert again["placed_by"] == "fix+tally"
    assert again["chainage_m"] == pytest.approx(found.loc[OLD, "chainage_m"], abs=0.3)
    assert np.abs(found["chainage_m"][:N] - without["chainage_m"]).max() < 0.3
    assert 0.5 <= again["chainage_sd_m"] < 1.2  # the cut, and how sure its neighbours are
    assert again["chainage_sd_m"] > found.loc[OLD, "chainage_sd_m"]


def test_it_is_linked_where_the_old_one_was_and_the_old_one_to_nobody():
    found = placed(with_again(fix(AT[OLD])), LINE).joints
    assert found.loc[[N, OLD + 1, OLD], "row_before"].tolist() == [OLD - 1, N, -1]
    assert found.loc[[N, OLD + 1], "pipe_m"].tolist() == [STICK, STICK]
    assert found.loc[OLD + 1, "step_sd_m"] > 0.5 > found.loc[OLD + 2, "step_sd_m"]
    assert found.loc[N, "piece"] == found.loc[OLD + 1, "piece"]


def test_a_fix_to_the_decimetre_tells_where_within_the_cut_it_stands():
    found = placed(with_again(fix(AT[OLD] + 0.8, 0.03), noise=0.1), LINE).joints
    assert found.loc[N, "chainage_m"] == pytest.approx(AT[OLD] + 0.8, abs=0.05)
    assert found.loc[N, "chainage_sd_m"] < 0.06
    assert found.loc[[OLD - 1, OLD + 1], "chainage_m"].tolist() == pytest.approx(AT[[OLD - 1, OLD + 1]], abs=0.15)


def test_the_spread_that_is_said_holds_the_truth_and_no_neighbour_is_moved_for_it():
    rng = np.random.default_rng(7)
    inside, moved = [], []
    for seed in range(60):
        true = AT[OLD] + rng.uniform(-0.85, 0.85)  # of 0.49 m sd
        rows = with_again(fix(true + rng.normal(0, 3.0)), seed=seed)
        found, without = (placed(r, LINE).joints for r in (rows, rows.iloc[:N]))
        inside.append(abs(found.loc[N, "chainage_m"] - true) < 1.96 * found.loc[N, "chainage_sd_m"])
        moved.append(np.abs(found["chainage_m"][:N] - without["chainage_m"]).max() / without["chainage_sd_m"].min())
    assert np.mean(inside) > 0.85
    assert np.median(moved) < 0.3  # one fix more, among forty
    assert max(moved) < 1.0


def test_without_a_fix_it_stands_where_the_old_one_stood():
    found = placed(with_again(fix(np.nan)), LINE).joints
    assert found.loc[N, "placed_by"] == "tally"
    assert found.loc[N, "chainage_m"] == pytest.approx(found.loc[OLD, "chainage_m"])
    assert found.loc[N, "chainage_sd_m"] == pytest.approx(np.hypot(0.5, found.loc[OLD, "chainage_sd_m"]))


def test_a_fix_that_its_neighbours_make_impossible_is_not_used_and_is_said_to_be_a_blunder():
    found = placed(with_again(fix(AT[OLD] + 100.0)), LINE).joints
    assert found.loc[N, "blunder"]
    assert found.loc[N, "placed_by"] == "tally"
    assert found.loc[N, "chainage_m"] == pytest.approx(AT[OLD], abs=2.0)
    assert not found["blunder"][:N].any()


def test_a_shot_on_it_stays_and_one_far_away_is_said():
    near, far = (
        placed(with_again(fix(AT[OLD] + off, 0.02, surveyed=True, fix_easting=AT[OLD], fix_northing=0.0)), LINE).joints
        for off in (0.6, 60.0)
    )
    assert near.loc[N, "chainage_m"] == pytest.approx(AT[OLD] + 0.6)
    assert near.loc[N, "placed_by"] == far.loc[N, "placed_by"] == "survey"
    assert near.loc[N, "strange_m"] == 0.0
    assert far.loc[N, "strange_m"] == pytest.approx(60.0, abs=2.0)
    # the neighbours, placed to a metre by their fixes, gain by it
    assert (
        near.loc[OLD + 1, "chainage_sd_m"] < placed(with_again(fix(np.nan)), LINE).joints.loc[OLD + 1, "chainage_sd_m"]
    )


def test_made_again_at_once_it_takes_no_stick_and_the_next_one_follows():
    """20, 20 again within the hour, 21: the second one has a stick to neither side of its own in the work's order."""
    rows = with_again(fix(AT[OLD], 1.0), noise=1.0)
    rows.loc[N, "fused_at"] = rows.loc[OLD, "fused_at"] + pd.Timedelta(minutes=30)
    found = placed(rows, LINE)
    assert found.joints["chainage_m"].to_numpy() == pytest.approx(np.append(AT, AT[OLD]), abs=1.2)
    assert found.gaps.empty


def test_two_made_for_one_with_a_pup_between_stand_side_by_side():
    pup = {"length_added_m": 1.5}
    found = placed(with_again(fix(AT[OLD] + 0.7, 0.05, **pup), fix(AT[OLD] - 0.8, 0.05, **pup), noise=0.1), LINE).joints
    assert found.loc[[N, N + 1], "chainage_m"].tolist() == pytest.approx([AT[OLD] + 0.7, AT[OLD] - 0.8], abs=0.1)
    assert found.loc[[N + 1, N, OLD + 1], "row_before"].tolist() == [OLD - 1, N + 1, N]
    assert found.loc[N, "pipe_m"] == pytest.approx(1.5, abs=0.2)


def test_the_length_of_the_pup_says_how_far_it_may_stand_from_the_old_one():
    short, long = (placed(with_again(fix(np.nan, length_added_m=m)), LINE).joints.loc[N] for m in (0.5, 6.0))
    assert short["chainage_sd_m"] < 1.0
    assert long["chainage_sd_m"] > 3.4


def test_one_that_was_made_a_third_time_stands_there_too_and_takes_the_place_in_the_line():
    found = placed(with_again(fix(AT[OLD] - 4), fix(AT[OLD] + 4, remakes=N)), LINE).joints
    assert found.loc[N + 1, "chainage_m"] == pytest.approx(found.loc[OLD, "chainage_m"], abs=0.4)
    assert found.loc[[N + 1, OLD + 1], "row_before"].tolist() == [OLD - 1, N + 1]
    assert found.loc[N, "row_before"] == -1
    assert found.loc[N + 1, "chainage_sd_m"] > found.loc[N, "chainage_sd_m"]  # cut twice


def test_serials_outrank_it_and_the_new_one_takes_the_place_itself():
    pipes = serials(range(N))
    rows = with_again(fix(AT[OLD] - 5.0, pipe_a=f"P{OLD}", pipe_b=f"P{OLD + 1}"), **pipes)
    found = placed(rows, LINE).joints
    assert set(found.loc[[N, OLD + 1], "row_before"]) <= {OLD - 1, OLD + 1, N, OLD + 2}
    assert found.loc[N, "chainage_m"] == pytest.approx(AT[OLD], abs=2.0)
    assert found.loc[OLD, "row_before"] == -1


def test_where_the_old_one_has_no_time_its_own_order_tells():
    rows = with_again(fix(AT[OLD], 1.0), noise=1.0, old={"fused_at": pd.NaT, "easting": np.nan})
    rows.loc[N, "fused_at"] = rows.loc[OLD - 1, "fused_at"] + pd.Timedelta(minutes=30)
    found = placed(rows, LINE).joints
    assert found.loc[N, "row_before"] == OLD - 1
    assert found.loc[N, "chainage_m"] == pytest.approx(AT[OLD], abs=1.5)


def test_a_joint_of_a_pulled_string_made_again_in_its_place_has_a_fix_that_counts_and_at_the_stand_none():
    stand, inner = 500.0, (np.arange(N) > 9) & (np.arange(N) < 30)
    string = {
        "string": np.where(inner, "S1", None),
        "kind": np.where(np.isin(np.arange(N), [9, 30]), "tie-in", "production"),
    }
    spec = StringSpec(string="S1", tie_ins=("J0010", "J0031"), first_fused="back", method="pulled in")
    laying = type(LAYING)(LAYING.reach, LAYING.sticks, strings=(spec,))
    joints = []
    for at in (AT[OLD] + 0.4, AT[0] + 60.0):
        rows = with_again(fix(at, 0.1), noise=0.1, **string)
        stays = np.append(inner, at == AT[0] + 60.0)
        rows.loc[stays, ["easting", "northing"]] = [AT[0] + 60.0, stand - 485.0]
        joints.append(placed(rows, LINE, laying=laying).joints)
    trench, at_stand = joints
    assert trench.loc[N, "placed_by"] == "fix+tally"
    assert trench.loc[N, "chainage_m"] == pytest.approx(AT[OLD] + 0.4, abs=0.1)
    assert at_stand.loc[N, "placed_by"] == "tally"
    assert at_stand.loc[N, "chainage_m"] == pytest.approx(AT[OLD], abs=0.5)
