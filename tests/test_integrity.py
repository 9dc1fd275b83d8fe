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
    assert "J003 and J017, 5 values each. By chance fewer than 0.01 pairs would" in only.statement
    assert "heuristic" in only.statement
    assert only.rows.tolist() == [3, 17]


def following(seed, *, digits=2, sizes=1):
    """Return 37 records: the plate and the drag vary, and gauge pressures and times follow the drag and the size."""
    random = np.random.default_rng(seed)
    drag, size = random.uniform(0.4, 0.55, 37).round(digits), random.integers(0, sizes, 37)
    plate = random.normal(218, 3, 37).round()
    gauge = {f"{name}_pressure_mpa": drag + of + size for name, of in (("bead", 2.1), ("soak", 0.0), ("fusion", 2.1))}
    told = {"heater_temperature_c": plate, "drag_pressure_mpa": drag, "soak_time_s": 400.0 + 60 * size}
    told |= {name: values.round(digits) for name, values in gauge.items()}
    told |= {"cooling_time_min": 20.0 + 4 * size, "removal_time_s": 8.0}
    return records(37).drop(columns=list(VALUES)).assign(**told)


def coincide(table):
    return table.duplicated(list(table.columns[table.columns.get_loc("heater_temperature_c") :])).any()


@pytest.mark.parametrize("sizes", [1, 3])
def test_gauge_pressures_that_follow_the_drag_make_no_copy_of_a_coincidence(sizes):
    tables = [following(seed, sizes=sizes) for seed in range(20)]
    assert sum(coincide(table) for table in tables) > 10  # pairs there are, by chance
    assert [list(same_values(table)) for table in tables] == [[]] * 20


def test_a_copy_among_following_pressures_is_found_where_enough_else_varies():
    random = np.random.default_rng(40)
    spans = {"soak_time_s": (400, 460), "removal_time_s": (5, 12), "bead_width_mm": (9, 16)}
    table = following(4).assign(**{name: random.uniform(*span, 37).round(1) for name, span in spans.items()})
    assert list(same_values(table)) == []
    first = table.columns.get_loc("heater_temperature_c")
    table.iloc[30, first:] = table.iloc[6, first:]
    (only,) = same_values(table)
    assert "J006 and J030, 9 values each" in only.statement
    assert only.rows.tolist() == [6, 30]


def test_pressures_too_fine_to_agree_twice_still_follow_the_drag():
    table = following(4, digits=6)
    first = table.columns.get_loc("heater_temperature_c")
    table.iloc[30, first:] = table.iloc[6, first:]
    assert list(same_values(table)) == []  # one coincidence of the drag: not proof
    width = np.random.default_rng(5).uniform(9, 16, 37).round(2)
    width[30] = width[6]
    assert len(list(same_values(table.assign(bead_width_mm=width, misalignment_mm=width**2 % 1)))) == 1


@pytest.mark.parametrize(("copies", "findings"), [(0, 0), (1, 0), (3, 1)])
def test_one_pair_among_coarse_values_may_be_chance_and_three_are_not(copies, findings):
    random = np.random.default_rng(4)
    names = ["soak_time_s", "removal_time_s", "ramp_time_s", "bead_width_mm", "misalignment_mm"]
    coarse = {name: random.integers(0, 8, 40).astype(float) for name in names}
    table = records(40).drop(columns=list(VALUES)).assign(**coarse)
    for row in range(copies):
        table.loc[30 + row, names] = table.loc[row, names]
    assert len(list(same_values(table))) == findings


def test_where_all_values_differ_nothing_is_said():
    table = records(37).assign(**{name: np.arange(37) * 1.7 + i for i, name in enumerate(VALUES)})
    assert list(same_values(table)) == []


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


@pytest.mark.parametrize("named", ["replaces", "remakes"])
def test_a_joint_that_was_made_again_bears_an_old_number_late_and_is_no_odd_one(named):
    table = records().assign(**{named: None})
    table.loc[8, ["joint", "fused_at"]] = ["J008R", table.loc[30, "fused_at"] + pd.Timedelta(minutes=5)]
    assert next(iter(out_of_order(table))).rows.tolist() == [8]  # nothing says that it replaces another
    table.loc[8, named] = 7
    assert list(out_of_order(table)) == []


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
