"""Gaps as placing tells them: the bracket that holds missing records, and what else speaks for them."""

import numpy as np
import pandas as pd

from asbuilt.judge.evidence import evidence
from asbuilt.judge.gaps import LineEnds, find_gaps
from asbuilt.place.links import MET, TIMED, UNMET

ENDS = LineEnds("main", 0.0, 240.0, first_joint=False, last_joint=False, complete=True)


def joints(*gone):
    at = np.array([12.0 * i for i in range(1, 20) if i not in gone])
    frame = {"joint_id": [f"J{c / 12:.0f}" for c in at], "chainage_m": at, "chainage_sd_m": 0.5, "step_sd_m": 0.05}
    return pd.DataFrame(frame | {"row_before": np.arange(len(at)) - 1}, index=range(len(at)))


def hidden(**columns):
    base = {"first": 3, "last": 6, "before": 4, "after": 5, "missing": 1, "low": 1, "high": 2}
    return pd.DataFrame([base | columns])


def test_a_gap_is_as_wide_as_the_bracket_that_holds_it():
    found = find_gaps(joints(6), ENDS, stick_m=12.0, hiding=hidden())
    assert found[["gap_id", "joints_within"]].to_numpy().tolist() == [["J4--J8", 2]]
    assert found[["missing_records", "missing_low", "missing_high"]].to_numpy().tolist() == [[1, 1, 2]]
    assert found[["before", "after"]].to_numpy().tolist() == [[4, 5]]
    assert "which of the spacings from J4 to J8 it is no fix can tell" in found["evidence"][0]


def test_gaps_whose_brackets_overlap_are_one():
    hiding = pd.concat([hidden(), hidden(first=5, last=8, before=6, after=7)], ignore_index=True)
    found = find_gaps(joints(6, 9), ENDS, stick_m=12.0, hiding=hiding)
    assert found[["gap_id", "missing_records"]].to_numpy().tolist() == [["J4--J11", 2]]


def test_a_level_that_rises_where_the_line_has_no_room_is_no_gap():
    """A machine that made every other joint skips one each time: the line shows that nothing is missing."""
    assert find_gaps(joints(), ENDS, stick_m=12.0, hiding=hidden()).empty


def test_within_a_piece_a_spacing_is_as_sure_as_its_pipe():
    poor = joints(6).assign(chainage_sd_m=6.0)
    assert list(find_gaps(poor, ENDS, stick_m=12.0)["gap_id"]) == ["J5--J7"]
    assert find_gaps(poor.assign(row_before=-1), ENDS, stick_m=12.0).empty


def records(**later):
    times = pd.to_datetime([f"2026-03-02 {h:02d}:00" for h in (8, 9, 10, 11, 12, 13, 15)])
    base = pd.DataFrame({"machine": "M1", "fused_at": times, "row_before": np.arange(7) - 1})
    base = base.assign(link=TIMED, skipped=-1, pipe_m=12.0)
    for name, value in later.items():
        base.loc[6, name] = value
    return base


def told(before=5, after=6, **later):
    return evidence(pd.DataFrame({"before": [before], "after": [after]}), records(**later), stick_m=12.0)[0]


def test_numbers_serials_and_pace_are_named():
    assert told(skipped=1, link=UNMET) == (
        "1 number skipped; the serials of their pipes do not meet; made 120 min apart where 60 is usual"
    )
    assert told(skipped=0, link=MET) == (
        "their numbers follow one another; yet the serials of their pipes meet; made 120 min apart where 60 is usual"
    )
    assert told(skipped=2, fused_at=pd.Timestamp("2026-03-02 14:00")) == (
        "2 numbers skipped; made 60 min apart where 60 is usual: no time for another"
    )


def test_what_tells_nothing_is_not_said():
    assert told(fused_at=pd.Timestamp("2026-03-03 14:00")) == ""  # another day
    assert told(row_before=3) == ""  # neighbours on the line, not in the order of the work
    assert told(before=-1) == ""
    assert told(pipe_m=24.0) == ""  # a machine that leaves every other joint to another one
