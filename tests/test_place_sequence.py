"""Which leg the order of the work makes likely, where a fix alone cannot tell."""

import numpy as np
import pandas as pd
import pytest

from asbuilt.place.links import paths
from asbuilt.place.sequence import Order, by_order
from tests.bench.truth import STICK, hairpin, line_through, twins
from tests.place_rows import beside, placed, records, serials

FORTH_AND_BACK = line_through((0, 0), (500, 0), (500, 8), (0, 8))
AT = STICK * np.arange(1, 84)


def wrong(found, at):
    return np.abs(found.joints["chainage_m"].to_numpy() - at) > STICK / 2 + 20


def walk(seed, *, at=AT, sd=4.0, **columns):
    return records(beside(FORTH_AND_BACK, at, noise=sd, seed=seed), sd_m=sd, **columns)


@pytest.mark.parametrize("backwards", [False, True])
def test_the_order_of_the_work_tells_the_legs_of_a_hairpin(backwards):
    """Legs 8 m apart and noise of 4 m: without the order one joint in seven lands on the wrong leg."""
    at = AT[::-1] if backwards else AT
    alone = sum(wrong(placed(walk(seed, at=at, machine=None), FORTH_AND_BACK), at).sum() for seed in range(10))
    assert alone > 80
    assert sum(wrong(placed(walk(seed, at=at), FORTH_AND_BACK), at).sum() for seed in range(10)) == 0


def test_serials_tell_the_legs_too_in_whatever_order_the_joints_were_made():
    for seed in range(5):
        order = np.random.default_rng(seed).permutation(83)
        found = placed(walk(seed, at=AT[order], **serials(order)), FORTH_AND_BACK)
        assert not wrong(found, AT[order]).any()


def test_an_order_without_sense_makes_no_joint_sure_of_a_wrong_leg():
    for seed in range(10):
        at = np.random.default_rng(seed).permutation(AT)
        found = placed(walk(seed, at=at), FORTH_AND_BACK)
        assert not (wrong(found, at) & (found.joints["leg_probability"] >= 0.95)).any()


def test_twin_lines_nearer_than_the_window_are_not_told_apart_by_many_fixes():
    """A hundred fixes average their noise, and not how far the pipe may lie off its line."""
    for seed in range(3):
        case = twins(np.random.default_rng(seed))
        found = placed(case.rows, *(line for _, line in case.lines)).joints
        assert (found["leg_probability"] < 0.95).all()


def test_twin_lines_whose_records_name_their_line_are_told_apart():
    case = twins(np.random.default_rng(0), told=("one", "two"))
    named = case.rows["line"].map({"one": "main", "two": "second"})
    found = placed(case.rows.assign(line=named), *(line for _, line in case.lines)).joints
    assert (found["line"] == named)[named.notna()].all()


def candidates_of(case):
    """Two places for each joint of a hairpin, sorted by joint, and what by the fix alone is likely."""
    n = len(case.rows)
    xy = case.rows[["easting", "northing"]].to_numpy()
    down, back = np.clip(xy[:, 0], 0, 500), 1008 - np.clip(xy[:, 0], 0, 500)
    near = np.exp(-0.5 * (np.abs(xy[:, [1, 1]] - [0, 8]) / 4.0) ** 2)
    probability = (near / near.sum(axis=1, keepdims=True)).ravel()
    places = np.column_stack([down, back]).ravel()
    return pd.DataFrame(
        {"point": np.repeat(np.arange(n), 2), "line": "main", "measure": places, "probability": probability}
    )


def by_the_order(case, rows=None):
    rows = case.rows if rows is None else rows
    walked = paths(rows, pipe_length_m=pd.Series(dtype=float))
    return by_order(candidates_of(case), walked, np.full(len(rows), 4.0), Order(STICK, 2.0, 1008.0))


@pytest.mark.parametrize("seed", range(5))
def test_the_probabilities_of_each_joint_sum_to_one_and_favour_its_own_leg(seed):
    case = hairpin(np.random.default_rng(seed))
    found = by_the_order(case).reshape(-1, 2)
    np.testing.assert_allclose(found.sum(axis=1), 1.0, atol=1e-5)
    own = (case.truth["chainage_m"] > 504).to_numpy().astype(int)
    clear = np.abs(case.truth["chainage_m"] - 504) > 30
    assert (found[np.arange(len(own)), own][clear] > 0.5).all()


def test_time_that_runs_back_gives_the_same_probabilities():
    """Steps are as likely one way as the other."""
    case = hairpin(np.random.default_rng(1))
    back = case.rows.assign(fused_at=case.rows["fused_at"].to_numpy()[::-1])
    np.testing.assert_allclose(by_the_order(case, back), by_the_order(case), atol=0.02)


def test_without_an_order_each_fix_keeps_the_likelier_leg():
    case = hairpin(np.random.default_rng(1))
    alone = by_the_order(case, case.rows.assign(machine=None)).reshape(-1, 2)
    by_fix = candidates_of(case)["probability"].to_numpy().reshape(-1, 2)
    assert (alone.argmax(axis=1) == by_fix.argmax(axis=1)).all()


def test_a_twin_whose_place_is_taken_lies_on_the_other_line():
    """The records of one line name it; those of the other name none, and all the same cannot lie where the first do."""
    case = twins(np.random.default_rng(0), told=("one",))
    named = case.rows["line"].map({"one": "main"})
    found = placed(case.rows.assign(line=named), *(line for _, line in case.lines)).joints
    assert found["line"].to_list() == case.truth["line"].map({"one": "main", "two": "second"}).to_list()
    assert (found["leg_probability"] >= 0.95).all()
