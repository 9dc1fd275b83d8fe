"""plan.csv and what is measured by it: reading, spreading over days, variances, earned schedule. Data is invented."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from asbuilt import build
from asbuilt.errors import InputError, SettingsError
from asbuilt.progress.calendar import day_of
from asbuilt.progress.formulas import at_this_pace, duration_by_index, earned_schedule, required_rate, schedule_index
from asbuilt.progress.planned import compare, plan_of
from asbuilt.progress.work import work_of
from asbuilt.read.alignments import read_alignments
from asbuilt.read.plan import PLAN, read_plan
from asbuilt.settings import load
from asbuilt.tabulate.schedule import crew_of_files, file_crew
from tests.making import LINE, make_route
from tests.work_record import day, gap, joint, plan, record, work

HEADING = "Kind,Start,Date,Line,From (m),To (m),Crew,Remarks"


def read(folder, *rows, heading=HEADING, changes=None, more=""):
    make_route(folder, toml_changes=changes, more=more)
    (folder / "design" / "branch.csv").write_text(LINE.replace("5250000", "5250100"), encoding="utf-8")
    (folder / "plan.csv").write_text("\n".join([heading, *rows, ""]), encoding="utf-8")
    settings = load(folder)
    return read_plan(settings, read_alignments(settings))


def reasons(found):
    return dict(zip(found.set_aside["source_row"], found.set_aside["reason"], strict=True))


# ---- reading ---------------------------------------------------------------------------------------------------------


def test_without_a_file_there_is_no_plan(tmp_path):
    settings = load(make_route(tmp_path))
    found = read_plan(settings, read_alignments(settings))
    assert (list(found.rows), len(found.rows), found.notes) == (list(PLAN), 0, ())


def test_a_plan_is_read_as_it_stands_and_backwards_stays_backwards(tmp_path):
    found = read(
        tmp_path,
        ",2026-03-02,2026-03-06,,0,240.5,Crew A,first",
        "bore,,2026-03-09,main,1000,900,Crew B,",
        "Tie-in,,2026-03-10,,240.5,,Crew A,",
        "holiday,,2026-03-11,,,,,",
        "weather day,,2026-03-12,,,,Crew A,rain",
    )
    assert found.set_aside.empty
    rows = found.rows
    assert list(rows["kind"]) == ["work", "bore", "tie-in", "holiday", "weather"]
    assert (rows["start"][0], rows["date"][0], rows["crew"][0]) == ("2026-03-02", "2026-03-06", "Crew A")
    assert rows.loc[:2, ["from_chainage_m", "to_chainage_m"]].to_numpy().tolist() == [
        [0, 240.5],
        [1000, 900],
        [240.5, 240.5],
    ]
    assert rows.loc[3:, "line"].isna().all()


def test_stations_are_read_with_their_equations(tmp_path):
    found = read(
        tmp_path,
        "work,,2026-03-06,,0+350,0+500,A,",
        changes={"alignment.equations": [{"back": "400 m", "ahead": "450 m"}]},
    )
    assert found.rows[["from_chainage_m", "to_chainage_m"]].to_numpy().tolist() == [[350, 450]]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("dance,,2026-03-06,,0,10,A,", "column Kind: 'dance' is none of work, bore, tie-in, holiday, weather"),
        ("work,,,,0,10,A,", "column Date: no day is stated that can be read"),
        ("work,2026-03-07,2026-03-06,,0,10,A,", "it starts on 2026-03-07, after 2026-03-06"),
        ("work,,2026-03-06,,0,,A,", "column To (m): no place is stated"),
        ("work,,2026-03-06,,10,10,A,", "it has no length: from and to are one place"),
        ("work,,2026-03-06,north,0,10,A,", "column Line: 'north' is none of the lines main"),
        ("tie-in,,2026-03-06,,,,A,", "column From (m): no place is stated"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_used_is_left_out_with_its_reason(tmp_path, row, reason):
    found = read(tmp_path, row, "work,,2026-03-06,,0,10,A,")
    assert reasons(found) == {2: reason}
    assert len(found.rows) == 1


def test_a_reach_far_beyond_the_line_is_left_out(tmp_path):
    found = read(tmp_path, "work,,2026-03-06,,990,1100,A,", "work,,2026-03-06,,900,1005,A,")
    assert "lies 100.00 m beyond the end of line main" in reasons(found)[2]
    assert len(found.rows) == 1
    assert any("5.00 m beyond the end" in note for note in found.notes)


def test_a_route_of_two_lines_has_to_name_them_for_reaches_only(tmp_path):
    second = '[[alignment]]\nline = "branch"\nfile = "design/branch.csv"\n'
    found = read(
        tmp_path,
        "work,,2026-03-06,,0,10,A,",
        "holiday,,2026-03-09,,,,,",
        "work,,2026-03-06,branch,0,10,A,",
        more=second,
    )
    assert reasons(found) == {2: "column Line: no line is named, and the route has main, branch"}
    assert list(found.rows["line"]) == [None, "branch"]


def test_a_station_that_is_nowhere_is_refused(tmp_path):
    with pytest.raises(InputError, match="is no place on line main"):
        read(
            tmp_path,
            "work,,2026-03-06,,0,0+425,A,",
            changes={"alignment.equations": [{"back": "400 m", "ahead": "450 m"}]},
        )


def test_a_plan_without_days_is_refused(tmp_path):
    with pytest.raises(InputError, match="no column holds the day by which a reach is to be done"):
        read(tmp_path, "0,10,A", heading="From (m),To (m),Crew")


@pytest.mark.parametrize(
    ("key", "value", "allowed"),
    [("working_days", '["Monday"]', "a list of days out of Mon, Tue"), ("working_days", "[]", "at least one"),
     ("shift", '"30 h"', "at most 24 h"), ("shift", "9", "a time with its unit"),
     ("crs", '"EPSG:7855"', "without crs")],
)  # fmt: skip
def test_what_the_route_file_says_of_the_plan_is_checked(tmp_path, key, value, allowed):
    with pytest.raises(SettingsError, match=allowed):
        load(make_route(tmp_path, more=f"[plan]\n{key} = {value}\n"))


def test_the_plan_travels_with_the_record_and_its_crews_are_the_files(tmp_path):
    make_route(tmp_path, more='[plan]\nworking_days = ["Mon", "Sat"]\nshift = "600 min"\n')
    (tmp_path / "plan.csv").write_text(
        f"{HEADING}\nwork,,2026-03-06,,0,10,A,\nwork,,2026-03-06,,10,20,Dawn,\n", encoding="utf-8"
    )
    made = build.build(load(tmp_path))
    schedule = made.schedule
    assert (schedule.working_days, schedule.shift_h, schedule.stick_m) == ((0, 5), 10.0, 12.0)
    assert schedule.crew_of == {"records/a.csv": "a"}
    assert list(schedule.rows["crew"]) == ["a", "Dawn"]
    info = made.tables["build_info"]
    assert "plan.csv" in set(info.loc[info["topic"] == "input", "name"])


@pytest.mark.parametrize(
    ("file", "pattern", "crew"),
    [("records/a.csv", "records/a.csv", "a"), ("records/day 1/north_03.xlsx", "records/*/north_*.xlsx", "north"),
     ("records/x.y.csv", "records/x.y.csv", "x.y"), ("records/b7.csv", "records/*.csv", "b7")],
)  # fmt: skip
def test_a_crew_is_named_after_its_file_or_its_pattern(file, pattern, crew):
    assert file_crew(file, pattern) == crew


def test_daily_files_of_one_pattern_are_one_crew(tmp_path):
    make_route(tmp_path, records=None, toml_changes={"records.files": ["records/crew_a_*.csv"]})
    (tmp_path / "records").mkdir()
    for name in ("crew_a_0302", "crew_a_0303"):
        (tmp_path / "records" / f"{name}.csv").write_text("Joint\n", encoding="utf-8")
    assert set(crew_of_files(load(tmp_path)).values()) == {"crew_a"}


# ---- the plan, day by day --------------------------------------------------------------------------------------------


def pieces(*rows, **more):
    own = plan_of(work(record([]), "2026-03-31", plan(*rows, **more))).pieces
    return [(r.crew, str(day_of(r.day))[-5:], round(r.begin, 3), round(r.end, 3)) for r in own.itertuples(index=False)]


def test_a_week_is_spread_over_its_working_days():
    assert pieces(("work", "2026-03-06", 0, 100, "a", "2026-03-02")) == [
        ("a", f"03-0{d}", 20.0 * (d - 2), 20.0 * (d - 1)) for d in range(2, 7)
    ]


def test_a_reach_begins_after_the_one_before_it_of_the_same_crew_and_the_first_is_of_its_own_day():
    rows = [
        ("work", "2026-03-06", 0, 10, "a"),
        ("work", "2026-03-10", 10, 30, "a"),
        ("work", "2026-03-10", 90, 60, "b"),
    ]
    assert pieces(*rows) == [
        ("a", "03-06", 0, 10),
        ("a", "03-09", 10, 20),
        ("a", "03-10", 20, 30),
        ("b", "03-10", 90, 60),
    ]


def test_holidays_are_left_out_of_a_plan_and_weather_does_not_move_it():
    rows = [
        ("work", "2026-03-04", 40, 0, "a", "2026-03-02"),
        ("holiday", "2026-03-03", None, None, "a"),
        ("weather", "2026-03-04", None, None, ""),
    ]
    assert pieces(*rows) == [("a", "03-02", 40, 20), ("a", "03-04", 20, 0)]


def test_a_reach_with_no_working_day_is_of_its_own_day():
    assert pieces(("work", "2026-03-08", 0, 10, "a")) == [("a", "03-08", 0, 10)]  # a Sunday


def test_planned_length_counts_a_metre_once_though_two_rows_name_it():
    own = plan_of(
        work(record([]), "2026-03-31", plan(("work", "2026-03-02", 0, 60, "a"), ("work", "2026-03-03", 40, 100, "b")))
    )
    assert own.length_by(np.array([day("2026-03-01"), day("2026-03-02"), day("2026-03-03"), np.inf])).tolist() == [
        0,
        60,
        100,
        100,
    ]
    assert [str(day_of(d))[-2:] for d in own.day_at("main", np.array([50.0, 70.0]))] == ["02", "03"]
    assert np.isnan(own.day_at("main", np.array([110.0, -1.0]))).all()
    assert np.isnan(own.day_at("other", np.array([50.0]))).all()


# ---- formulas --------------------------------------------------------------------------------------------------------


def test_thirty_days_at_a_quarter_make_a_hundred_and_twenty():
    """The worked example of a practitioner's article on earned value (seen, second-hand)."""
    assert at_this_pace(30, 25) == 120.0
    assert at_this_pace(30, 0) == np.inf


def test_spi_t_of_eighteen_weeks_earned_in_twenty_is_nine_tenths():
    """The example of a calculator page on earned schedule: ES 18 weeks, AT 20 weeks, SPI(t) 0.90 (seen)."""
    assert schedule_index(18, 20) == 0.9
    assert np.isnan(schedule_index(0, 0))


@pytest.mark.parametrize(
    ("earned", "periods"),
    [(0, 0), (5, 0.5), (10, 1), (25, 2.5), (30, 4), (35, 4.5), (40, 5), (99, 5)],
)
def test_earned_schedule_counts_whole_periods_and_the_share_of_the_next(earned, periods):
    """ES = C + I (formula of Lipke and Henderson, 2006, seen; the figures are ours, by hand). In the fourth period
    nothing was planned: with 30 its planned value is reached, too."""
    assert earned_schedule(earned, np.array([10.0, 20.0, 30.0, 30.0, 40.0])) == pytest.approx(periods)


def test_the_index_foretells_the_duration_and_what_is_left_the_rate():
    """IEAC(t) = PD / SPI(t) (Lipke and Henderson, 2006, seen); rate: common practice, no source."""
    assert duration_by_index(100, 0.8) == 125.0
    assert duration_by_index(100, 0.0) == np.inf
    assert (required_rate(600, 12), required_rate(0, 0), required_rate(5, 0)) == (50.0, 0.0, np.inf)


# ---- planned against actual ------------------------------------------------------------------------------------------

# Planned: 20 m a day from Monday 2 March on. Done: 12 m on Monday, 12 on Wednesday, 12 on Thursday.
SCHEDULE = plan(("work", "2026-03-09", 0, 120, "a", "2026-03-02"))
DONE = [joint(f"J{i}", 12 * (i + 1), f"2026-03-0{d}T09:00") for i, d in enumerate((2, 4, 5))]


def compared(evening, rows=tuple(DONE), schedule=SCHEDULE, going_on=True, **more):
    told = work(record(list(rows), going_on=going_on, **more), evening, schedule)
    return compare(told, plan_of(told))


def test_length_and_time_variance_worked_by_hand():
    found = compared("2026-03-05")
    assert (found.planned_m, found.done_m, found.variance_m, found.scope_m) == (80, 36, -44, 120)
    assert (found.earned_days, found.elapsed_days, found.index) == (pytest.approx(1.8), 4, pytest.approx(0.45))
    assert (found.line, found.at_m, found.late_days) == ("main", 30, 2)  # 30 m: planned for the 3rd, covered on the 5th
    assert (found.left_m, found.working_days_left, found.required_m) == (84, 2, 42)
    assert str(day_of(found.by_index)) == "2026-03-19"  # 6 days / 0.45 = 13.3: the 14th working day from the 2nd


def test_after_the_planned_end_no_rate_can_be_required():
    found = compared("2026-03-12")
    assert (found.working_days_left, found.required_m) == (0, np.inf)
    assert (found.elapsed_days, found.planned_m) == (9, 120)  # the plan had six days; the clock goes on


def test_a_finished_reach_keeps_the_index_of_its_last_day():
    rows = [*DONE, joint("J9", 108, "2026-03-06T09:00")]
    first, later = (compared(evening, rows, going_on=False) for evening in ("2026-03-06", "2026-03-20"))
    assert (first.left_m, first.earned_days, first.elapsed_days, first.index) == (0, 6, 5, pytest.approx(1.2))
    assert later.index == first.index
    assert first.late_days < 0  # earlier than planned


def test_weather_days_shorten_the_time_that_is_left():
    rows = [("work", "2026-03-09", 0, 120, "a", "2026-03-02"), ("weather", "2026-03-06", None, None, "")]
    found = compared("2026-03-05", schedule=plan(*rows))
    assert (found.working_days_left, found.required_m) == (1, 84)


def test_missing_records_earn_nothing_and_are_told_apart():
    rows = [*DONE, joint("J9", 108, "2026-03-06T09:00")]
    gaps = [gap(36.0, 60.0)]
    found = compared("2026-03-06", rows, gaps=gaps, going_on=False)
    assert (found.done_m, found.gap_m, found.left_m) == (96, 24, 0)


def test_only_what_lies_in_the_plan_counts_against_it():
    found = compared("2026-03-05", schedule=plan(("work", "2026-03-05", 0, 30, "a", "2026-03-02")))
    assert (found.done_m, found.scope_m, found.left_m) == (30, 30, 0)


def test_without_reaches_there_is_nothing_to_compare():
    assert compared("2026-03-05", schedule=plan(("holiday", "2026-03-06", None, None, ""))) is None


def test_a_crew_is_measured_by_its_own_reach(saltreach):
    when = pd.Timestamp("2026-02-25T23:59:59", tz="Australia/Hobart").to_pydatetime()
    told = work_of(dataclasses.replace(saltreach, title=dataclasses.replace(saltreach.title, as_of=when)))
    own = plan_of(told)
    crews = {crew: compare(told, own, crew) for crew in ("crew_a", "crew_b", "crew_c")}
    every = compare(told, own)
    assert sum(c.scope_m for c in crews.values()) == pytest.approx(every.scope_m)
    assert sum(c.done_m for c in crews.values()) == pytest.approx(every.done_m)
    assert sum(c.left_m for c in crews.values()) == pytest.approx(every.left_m)
    assert crews["crew_a"].variance_m > 0 > crews["crew_b"].variance_m
