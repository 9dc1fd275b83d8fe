"""How many joints a line of equal sticks must have, by division."""

import pandas as pd
import pytest

from asbuilt.judge.gaps import LineEnds, find_gaps

BARE = pd.DataFrame({"joint_id": pd.Series(dtype=object), "chainage_m": [], "chainage_sd_m": []})


def missing(length: float, *, stick: float) -> list[int]:
    """Return the missing records of each gap of a finished line without a record."""
    ends = LineEnds("main", 0.0, length, first_joint=False, last_joint=False, complete=True)
    return find_gaps(BARE, ends, stick_m=stick)["missing_records"].to_list()


@pytest.mark.computed("a line has one joint fewer than pieces: 1,000 / 12 are 83 sticks and 4 m, 500 / 20 are 25")
@pytest.mark.parametrize(("length", "stick", "joints"), [(1000.0, 12.0, 83), (500.0, 20.0, 24)])
def test_a_line_without_a_record_misses_them_all(length: float, stick: float, joints: int) -> None:
    assert missing(length, stick=stick) == [joints]


@pytest.mark.computed("1,000 / 12.192 (40 ft): 82 sticks and 0.26 m, 82 joints if the rest is a piece, else 81")
def test_a_rest_that_the_sticks_may_make_up_asks_for_no_joint() -> None:
    assert missing(1000.0, stick=12.192) == [81]
    assert missing(1002.0, stick=12.192) == [82]
