"""Copied records, copied curves, receivers that lost their weeks, numbers out of order. All data is invented."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from asbuilt.judge.integrity import integrity_findings, lost_weeks, out_of_order, same_curves, same_values
from asbuilt.read.traces import Curve
from asbuilt.settings.parts import _duration

VALUES = {
    "heater_temperature_c": (221.0, 229.0), "soak_time_s": (465.0, 540.0), "removal_time_s": (4.5, 7.0),
    "cooling_time_min": (26.0, 31.0), "fusion_pressure_mpa": (3.4, 3.8),
}  # fmt: skip


def records(n=40, decimals=1, **changes):
    random = np.random.default_rng(9)
    table = pd.DataFrame(
        {"joint": [f"J{i:03d}" for i in range(n)], "source_file": "a.csv", "sheet": "", "machine": "M1"}
    )
    table = table.assign(source_row=range(2, n + 2), trace=None)
    table["fused_at"] = pd.date_range("2026-02-02 08:00", periods=n, freq="55min").astype("datetime64[us]")
    values = {name: random.uniform(*span, n).round(decimals) for name, span in VALUES.items()}
    return table.assign(**values, **changes)


def copied(table, source, to):
    table.loc[to, list(VALUES)] = table.loc[source, list(VALUES)].to_numpy()
    return table


def test_a_job_like_any_other_has_no_finding():
    assert integrity_findings(records(300), {}) == ()
    assert integrity_findings(records(300).iloc[:0], {}) == ()


def test_a_copied_record_is_found_with_both_numbers():
    (only,) = same_values(copied(records(), 3, 17))
    assert "a.csv, machine M1: 2 records of different joints agree in every digit" in only.statement
    assert "J003 = J017" in only.statement
    assert "heuristic" in only.statement
    assert only.rows.tolist() == [3, 17]


def test_values_that_every_crew_writes_each_time_prove_nothing():
    same = {name: np.round(np.mean(span)) for name, span in VALUES.items()}
    assert list(same_values(records().assign(**same))) == []
    assert list(same_values(copied(records(decimals=-1), 3, 17))) == []


def test_three_quantities_are_too_few_and_so_are_four_records():
    table = copied(records(), 3, 17)
    assert list(same_values(table.drop(columns=list(VALUES)[:2]))) == []
    assert list(same_values(copied(records(4), 1, 3))) == []


def test_a_row_of_another_machine_and_a_cut_out_under_its_own_number_are_no_copies():
    other = copied(records(), 3, 17)
    other.loc[17, "machine"] = "M2"
    assert list(same_values(other)) == []
    again = copied(records(), 3, 17)
    again.loc[17, "joint"] = again.loc[3, "joint"]
    assert list(same_values(again)) == []


def test_one_curve_for_two_joints_and_two_files_of_one_curve():
    curves = {"a": Curve("a.csv", digest="1"), "b": Curve("b.csv", digest="1"), "c": Curve("c.csv", digest="2")}
    curves["d"] = Curve("d.csv", cause="not there")
    table = records(7).assign(trace=["a", "b", "c", "c", "d", "d", None])
    first, second = same_curves(table, curves)
    assert first.statement.startswith("2 joints name curves that are the same in every sample: J000, J001.")
    assert second.statement.startswith("2 joints name one curve, c.csv: J002, J003.")
    assert [f.rows.tolist() for f in (first, second)] == [[0, 1], [2, 3]]


@pytest.mark.parametrize(("first", "weeks"), [(date(1999, 8, 22), 1024), (date(2019, 4, 7), 2048)])
def test_a_receiver_starts_anew_after_1024_weeks_of_1980(first, weeks):
    """GPS time begins on 1980-01-06 and its week number has ten bits (IS-GPS-200; all from memory)."""
    assert date(1980, 1, 6) + timedelta(weeks=weeks) == first


def test_a_whole_file_that_lost_its_weeks_gets_a_correction_that_route_toml_takes():
    table = pd.concat([records(40), records(20).assign(source_file="b.csv")], ignore_index=True)
    table.loc[40:, "fused_at"] -= pd.Timedelta(weeks=1024)
    (only,) = lost_weeks(table)
    assert only.proposal == 'clock = "+172032 h"'
    assert (
        "b.csv rows 2 to 21: 20 times (J000: 2006-06-19) fall among the others when 1024 weeks are added"
        in only.statement
    )
    assert _duration("+172032 h") == timedelta(weeks=1024)


def test_a_part_of_a_file_or_two_rounds_get_none():
    table = records()
    table.loc[10:14, "fused_at"] -= pd.Timedelta(weeks=1024)
    (part,) = lost_weeks(table)
    assert (part.proposal, part.rows.tolist()) == ("", [10, 11, 12, 13, 14])
    table = records()
    table.loc[10:14, "fused_at"] -= pd.Timedelta(weeks=2048)
    (twice,) = lost_weeks(table)
    assert "2048 weeks" in twice.statement


@pytest.mark.parametrize("days", [365, 7000, 7340])
def test_another_shift_is_no_rollover(days):
    table = records()
    table.loc[10:14, "fused_at"] -= pd.Timedelta(days=days)
    assert list(lost_weeks(table)) == []


def test_a_number_far_from_its_place_is_said_and_its_neighbours_are_not():
    table = records()
    table.loc[8, "fused_at"] = table.loc[30, "fused_at"] + pd.Timedelta(minutes=5)
    (only,) = out_of_order(table)
    assert "J008 (22 places)" in only.statement
    assert only.rows.tolist() == [8]


def test_numbers_may_run_against_the_work_or_not_follow_it_at_all():
    backwards = records()
    backwards["fused_at"] = backwards["fused_at"].to_numpy()[::-1].copy()
    assert list(out_of_order(backwards)) == []
    mixed = records()
    mixed["fused_at"] = mixed["fused_at"].sample(frac=1, random_state=3).to_numpy()
    assert list(out_of_order(mixed)) == []
    late = records()
    late.loc[[5, 6], "fused_at"] = late.loc[[6, 5], "fused_at"].to_numpy()
    assert list(out_of_order(late)) == []
