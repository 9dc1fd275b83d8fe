"""Which joints follow one another: serials before words, words before time, and no path that bites its tail."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.place.links import MET, STATED, TIMED, UNMET, paths
from tests.place_rows import records, serials

NO_TALLY = pd.Series(dtype=float)


def rows_of(n, **columns):
    return records(np.zeros((n, 2)), **columns)


def walks(found):
    """The rows of each path, in order."""
    return [found.row[found.path == p].tolist() for p in range(found.path.max() + 1)]


def linked(rows, tally=NO_TALLY):
    return paths(rows, pipe_length_m=tally)


def test_without_serials_a_path_is_what_one_machine_made_in_its_time():
    rows = rows_of(6, machine=["B", "A", "B", "A", "B", "A"])
    found = linked(rows.iloc[[3, 0, 5, 4, 1, 2]])  # in whatever order the rows come
    assert walks(found) == [[4, 0, 2], [1, 5, 3]]
    assert found.how[~found.head].tolist() == [TIMED] * 4


def test_serials_that_meet_outrank_the_order_in_time():
    found = linked(rows_of(5, **serials([0, 3, 1, 4, 2])))
    assert walks(found) == [[0, 2, 4, 1, 3]]
    assert found.how[1:].tolist() == [MET] * 4


def test_serials_outrank_a_stated_order_in_a_string():
    found = linked(rows_of(4, string="S1", order=[1.0, 2, 3, 4], **serials([0, 2, 1, 3])))
    assert walks(found) == [[0, 2, 1, 3]]
    assert (found.how[1:] == MET).all()


def test_a_stated_order_in_a_string_outranks_time():
    found = linked(rows_of(5, string=["S1", "S1", "S1", "S1", None], order=[3.0, 1, 4, 2, np.nan]))
    assert walks(found)[0][:4] in ([1, 3, 0, 2], [2, 0, 3, 1])
    assert (found.how[1:4] == STATED).all()


def test_the_sides_on_which_a_pipe_is_written_and_its_case_do_not_matter():
    rows = rows_of(3, pipe_a=["p1 ", "P2", "P3"], pipe_b=["P2", "P3", "x"])
    rows.loc[1, ["pipe_a", "pipe_b"]] = [" p3", "P2"]
    found = linked(rows)
    assert walks(found) == [[0, 1, 2]]
    assert (found.how[1:] == MET).all()


def test_a_serial_on_three_joints_links_none():
    rows = rows_of(3, pipe_a=["P1", "P1", "P1"], pipe_b=["P2", "P3", "P4"], machine=None)
    assert walks(linked(rows)) == [[0], [1], [2]]


def test_where_serials_are_named_and_do_not_meet_time_links_with_a_doubt():
    found = linked(rows_of(5, **serials([0, 1, 5, 6, 7])))
    assert walks(found) == [[0, 1, 2, 3, 4]]
    assert found.how[1:].tolist() == [MET, UNMET, MET, MET]


def test_a_ring_of_serials_is_opened_and_no_row_is_lost():
    rows = rows_of(4, pipe_a=["P0", "P1", "P2", "P3"], pipe_b=["P1", "P2", "P3", "P0"])
    found = linked(rows)
    assert sorted(found.row) == [0, 1, 2, 3]
    assert len(walks(found)) == 1
    assert (found.how[1:] == MET).all()


def test_rows_without_machine_or_time_stand_alone():
    rows = rows_of(5, machine=["A", None, "A", "A", "A"])
    rows.loc[2, "fused_at"] = pd.NaT
    assert walks(linked(rows)) == [[0, 3, 4], [1], [2]]


def test_the_pipe_between_is_that_of_the_tally_then_of_the_record_then_unknown():
    rows = rows_of(4, length_b_m=[11.0, 10.0, np.nan, np.nan], **serials(range(4)))
    found = linked(rows, pd.Series([9.5], index=["p1"]))
    np.testing.assert_allclose(found.length_m[1:], [9.5, 10.0, np.nan])


def test_in_time_the_pipe_between_is_the_one_added_at_the_first_joint():
    found = linked(rows_of(3, length_added_m=[11.0, 6.0, 3.0]))
    np.testing.assert_allclose(found.length_m[1:], [11.0, 6.0])


def test_a_tally_that_spells_a_pipe_in_two_cases_is_no_accident():
    found = linked(rows_of(3, **serials(range(3))), pd.Series([12.0, 12.0], index=["P1", "p1"]))
    assert walks(found) == [[0, 1, 2]]


NUMBERED = [
    ("follow", ["J01", "J02", "J03", "J04", "J05", "J06", "J07", "J08"], [0] * 7),
    ("skip", ["1", "2", "3", "5", "6", "9", "10", "11"], [0, 0, 1, 0, 2, 0, 0]),
    ("count down", ["8", "7", "6", "5", "3", "2", "1", "0"], [0, 0, 0, 1, 0, 0, 0]),
    ("restart", ["6", "7", "8", "1", "2", "3", "4", "5"], [0, 0, -1, 0, 0, 0, 0]),
    (
        "end in a letter",
        ["M1-01A", "M1-02B", "M1-03", "M1-05C", "M1-06", "M1-07", "M1-08", "M1-09"],
        [0, 0, 1] + [0] * 4,
    ),
    ("no number", ["1", "2", "three", "4", "5", "6", "7", "8"], [0, -1, -1, 0, 0, 0, 0]),
    ("only even", ["2", "4", "6", "8", "10", "12", "14", "16"], [-1] * 7),
    ("in no order", ["40", "12", "77", "3", "58", "21", "90", "64"], [-1] * 7),
    ("far ahead", ["1", "2", "3", "4", "5", "900", "901", "902"], [0, 0, 0, 0, 99, 0, 0]),
]


@pytest.mark.parametrize(("joint", "skipped"), [n[1:] for n in NUMBERED], ids=[n[0] for n in NUMBERED])
def test_numbers_tell_how_many_are_left_out_where_they_follow_at_all(joint, skipped):
    assert linked(rows_of(8, joint=joint)).skipped[1:].tolist() == skipped


def test_five_joints_are_too_few_to_say_that_numbers_follow():
    assert linked(rows_of(5, joint=["1", "2", "3", "5", "6"])).skipped[1:].tolist() == [-1] * 4


def tangled(rng, n):
    """Rows with serials, strings, machines and times at random, some of each not recorded."""
    pipes = np.array([f"P{i}" for i in range(n)], dtype=object)
    rows = rows_of(n, pipe_a=rng.choice(pipes, n), pipe_b=rng.choice(pipes, n), machine=rng.choice(["A", "B", "C"], n))
    rows = rows.assign(string=rng.choice(np.array(["S1", "S2", None], dtype=object), n), order=rng.permutation(n) * 1.0)
    rows["fused_at"] = rng.permutation(rows["fused_at"])
    for column in ("pipe_a", "pipe_b", "machine", "fused_at", "order"):
        rows[column] = rows[column].where(rng.random(n) > rng.random() * 0.6)
    return rows


@given(st.integers(0, 2**32 - 1), st.integers(1, 25))
@settings(deadline=None, max_examples=100)
def test_every_row_stands_in_exactly_one_path(seed, n):
    found = linked(tangled(np.random.default_rng(seed), n))
    assert sorted(found.row) == list(range(n))
    assert (np.diff(found.path, prepend=0) >= 0).all()
    assert np.unique(found.path).tolist() == list(range(found.path.max() + 1))


@given(st.integers(0, 2**32 - 1), st.integers(2, 25))
@settings(deadline=None, max_examples=100)
def test_neighbours_that_are_said_to_meet_do_share_a_pipe(seed, n):
    rows = tangled(np.random.default_rng(seed), n)
    found = linked(rows)
    ends = [{p for p in pair if isinstance(p, str)} for pair in rows[["pipe_a", "pipe_b"]].itertuples(index=False)]
    on_two = {pipe for pipe in set().union(*ends) if sum(pipe in e for e in ends) == 2}
    for i in np.flatnonzero(~found.head):
        shared = ends[found.row[i]] & ends[found.row[i - 1]] & on_two
        assert shared or found.how[i] != MET
        assert not shared or found.how[i] == MET
