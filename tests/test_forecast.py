"""When the rest may be done: resampled crew-days, against cases whose answer is known. All data is invented."""

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.progress.calendar import Calendar, day_of
from asbuilt.progress.days import daily
from asbuilt.progress.figures import figures_of
from asbuilt.progress.forecast import RECENT, Remaining, forecasts, recent_days, remaining, working_days_needed
from asbuilt.progress.planned import left_of, plan_of
from asbuilt.progress.said import left_tables
from tests.work_record import day, gap, joint, plan, record, work


def quantile(runs, q):
    return float(np.quantile(runs, q, method="higher"))


# ---- drawing days ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("left", "days"), [(100, 10), (95, 10), (101, 11), (0, 0), (-3, 0)])
def test_a_crew_that_always_does_the_same_is_done_on_the_day_that_division_gives(left, days):
    assert set(working_days_needed(left, np.full(8, 10.0))) == {days}


def test_the_same_seed_gives_the_same_runs_and_another_one_others():
    recent = np.array([0.0, 5.0, 10.0, 20.0])
    assert np.array_equal(working_days_needed(300, recent), working_days_needed(300, recent))
    assert not np.array_equal(working_days_needed(300, recent), working_days_needed(300, recent, seed=1))


def test_the_range_opens_with_the_scatter_of_the_days_and_not_with_their_mean():
    steady, wild = np.full(10, 10.0), np.array([0.0, 20.0] * 5)
    calm, rough = (working_days_needed(200, recent) for recent in (steady, wild))
    assert quantile(calm, 0.8) - quantile(calm, 0.5) == 0
    assert quantile(rough, 0.8) - quantile(rough, 0.5) >= 2
    assert abs(quantile(rough, 0.5) - 20) <= 1


def test_more_left_is_never_done_sooner():
    recent = np.array([3.0, 8.0, 0.0, 12.0])
    fewer, more = (working_days_needed(left, recent) for left in (100, 150))
    assert all(quantile(more, q) >= quantile(fewer, q) for q in (0.1, 0.5, 0.8, 0.95))


def test_a_crew_that_does_nothing_never_ends():
    assert np.isinf(working_days_needed(10, np.zeros(5))).all()
    assert np.isinf(working_days_needed(10, np.zeros(0))).all()
    assert np.isinf(working_days_needed(1e6, np.full(5, 1.0))).all()  # not within the longest that is looked at


def test_p80_holds_in_about_four_of_five_cases_whose_days_are_drawn_as_assumed():
    """The assumption put to the test: days of one law, fifteen of them seen, sixty to come. No source: a simulation."""
    rng, held = np.random.default_rng(11), []
    for _ in range(200):
        seen, coming = (rng.gamma(4.0, 20.0, n) for n in (15, 60))
        truth = np.argmax(np.cumsum(coming) >= 1500) + 1
        held.append([truth <= quantile(working_days_needed(1500, seen, runs=300), q) for q in (0.5, 0.8)])
    p50, p80 = np.mean(held, axis=0)
    assert 0.40 < p50 < 0.70
    assert 0.65 < p80 < 0.92


# ---- days that are drawn from ----------------------------------------------------------------------------------------

WORKED = ("02", "03", "04", "06", "09", "10")  # of March 2026; the 5th was a Thursday, the 7th and 8th a weekend


def steady(crew="a", start=0, step=12, days=WORKED):
    return [joint(f"{crew}{d}", start + step * (i + 1), f"2026-03-{d}T09:00", crew=crew) for i, d in enumerate(days)]


def recent_of(schedule, evening="2026-03-10"):
    told = work(record(steady(), length=600.0, going_on=True), evening, schedule)
    return recent_days(told, daily(told), "new_m", "a").tolist()


def test_a_working_day_without_a_record_counts_as_nothing_done_and_a_day_off_does_not_count():
    assert recent_of(plan()) == [12, 12, 12, 0, 12, 12, 12]
    assert recent_of(plan(("holiday", "2026-03-05", None, None, ""))) == [12] * 6
    assert recent_of(plan(("weather", "2026-03-05", None, None, "b"))) == [12, 12, 12, 0, 12, 12, 12]  # another crew's
    assert recent_of(plan(("holiday", "2026-03-04", None, None, ""))) == [
        12,
        12,
        12,
        0,
        12,
        12,
        12,
    ]  # worked all the same
    assert recent_of(plan(), "2026-03-12") == [12, 12, 12, 0, 12, 12, 12, 0, 0]


def test_only_the_latest_days_are_drawn_from():
    many = [joint(f"J{i}", 5 * (i + 1), f"2026-{2 + i // 28:02d}-{1 + i % 28:02d}T09:00") for i in range(40)]
    told = work(record(many, length=600.0, going_on=True), "2026-03-12", plan(week=tuple(range(7))))
    assert len(recent_days(told, daily(told), "new_m", "a")) == RECENT


# ---- the forecasts ---------------------------------------------------------------------------------------------------


def of(found):
    return {(f.what, f.crew): f for f in found}


def told_of(rows, schedule, *, evening="2026-03-10", **more):
    told = work(record(rows, length=600.0, going_on=True, **more), evening, schedule)
    return of(forecasts(told, plan_of(told), daily(told)))


def test_without_a_plan_the_line_is_told_at_the_pace_of_all():
    found = told_of(steady(days=("02", "03", "04", "05", "06", "09", "10")), plan())
    line = found["line", ""]
    assert line.left == 600 - 84
    assert str(day_of(line.p50)) == "2026-05-08"  # 516 m / 12 m = 43 working days after 10 March
    assert line.p80 == line.p50


def test_holidays_and_weather_days_to_come_move_the_end():
    rows = steady(days=("02", "03", "04", "05", "06", "09", "10"))
    off = plan(("holiday", "2026-05-01", None, None, ""), ("weather", "2026-05-04", None, None, ""))
    assert str(day_of(told_of(rows, off)["line", ""].p50)) == "2026-05-12"  # two working days later than 8 May


def test_each_crew_ends_its_own_reach_and_the_line_ends_with_the_last():
    rows = [*steady("a"), *steady("b", start=300)]
    schedule = plan(("work", "2026-03-20", 0, 180, "a"), ("work", "2026-04-20", 180, 600, "b"))
    gaps = [gap(72.0, 312.0, missing=19)]
    found = told_of(rows, schedule, gaps=gaps)
    a, b, line = (found[key] for key in (("line", "a"), ("line", "b"), ("line", "")))
    assert (a.left, b.left) == (180 - 72, 132 + 228)  # b also has to fuse what lies before its first joint
    assert a.p50 < b.p50
    assert line.left == a.left + b.left
    assert (line.p50, line.p80) == (b.p50, b.p80)


def test_a_reach_that_is_in_no_plan_is_said_and_not_guessed():
    schedule = plan(("work", "2026-03-20", 0, 180, "a"))
    line = told_of(steady(), schedule)["line", ""]
    assert np.isnan(line.p50)
    assert line.why == "420 m of it are in no crew's plan"


def test_missing_records_are_no_work_to_come():
    gaps = [gap(36.0, 48.0, missing=1)]
    assert told_of(steady(), plan(), gaps=gaps)["line", ""].left == 600 - 72


def test_a_reach_between_the_fronts_of_two_crews_is_work_to_come():
    rows = [*steady("a"), *steady("b", start=300)]
    gaps = [gap(72.0, 312.0, missing=19)]
    assert told_of(rows, plan(), gaps=gaps)["line", ""].left == 240 + 228


def test_too_few_days_tell_nothing_and_it_says_so():
    found = told_of(steady(days=("09", "10")), plan())["line", ""]
    assert np.isnan(found.p50)
    assert found.why == "cannot be told from 2 days of it: 5 are needed"


def test_bores_and_tie_ins_are_apart():
    bore = [{"string": "B", "line": "main", "from_chainage_m": 500.0, "to_chainage_m": 540.0, "method": "bore"}]
    schedule = plan(
        ("work", "2026-03-20", 0, 600, "a"),
        ("tie-in", "2026-03-18", 60, 60, "a"),
        ("tie-in", "2026-03-19", 300, 300, "a"),
    )
    rows = [*steady(), joint("T", 61, "2026-03-10T12:00", kind="tie-in")]
    told = figures_of(work(record(rows, strings=bore, length=600.0, going_on=True), "2026-03-10", schedule))
    found = of(told.forecasts)
    assert found["line", "a"].left == 600 - 72 - 40
    assert (round(found["bores", ""].left, 6), found["tie-ins", ""].left) == (40, 1)
    assert found["bores", ""].why == "cannot be told from 0 days of it: 5 are needed"
    assert told.tie_ins["actual"].tolist() == [day("2026-03-10"), pytest.approx(np.nan, nan_ok=True)]
    assert left_tables(told)[-1].rows == (("a", "300 m", "Thu 2026-03-19", "-"),)
    late = figures_of(work(record(rows, strings=bore, length=600.0, going_on=True), "2026-03-23", schedule))
    assert left_tables(late)[-1].rows == (("a", "300 m", "Thu 2026-03-19", "4"),)


def test_what_waits_for_a_tie_in_is_no_length_of_a_day():
    rows = [*steady("a"), *steady("b", start=84)]
    schedule = plan(
        ("work", "2026-03-20", 0, 84, "a"), ("work", "2026-03-20", 84, 600, "b"), ("tie-in", "2026-03-20", 84, 84, "a")
    )
    gaps = [gap(72.0, 96.0, missing=1)]
    found = told_of(rows, schedule, gaps=gaps)
    assert found["line", "a"].left == 0
    assert found["line", "a"].why.startswith("nothing left")
    assert found["tie-ins", ""].left == 1


# ---- what is left, in its parts --------------------------------------------------------------------------------------

BORE = {"string": "B", "line": "main", "from_chainage_m": 500.0, "to_chainage_m": 540.0, "method": "bore"}
TWO_CREWS = (("work", "2026-03-20", 0, 84, "a"), ("work", "2026-03-20", 84, 560, "b"))


def two_crews(*more, evening="2026-03-10"):
    """Crew a is done but for the tie-in at 84 m, crew b has a bore to come, and 560 to 600 m are in no plan."""
    rows, gaps = [*steady("a"), *steady("b", start=84)], [gap(72.0, 96.0, missing=1)]
    schedule = plan(*TWO_CREWS, ("tie-in", "2026-03-20", 84, 84, "a"), *more)
    return work(record(rows, length=600.0, going_on=True, gaps=gaps, strings=[BORE]), evening, schedule)


def test_what_is_left_has_three_parts_by_hand():
    told = two_crews()
    found = {(r.of, r.crew): (r.along_m, r.at_tie_ins_m, r.in_bores_m) for r in remaining(told, plan_of(told))}
    assert {key: tuple(round(m, 6) for m in parts) for key, parts in found.items()} == {
        ("crew", "a"): (0, 12, 0),
        ("crew", "b"): (560 - 156 - 40, 12, 40),
        ("no plan", ""): (40, 0, 0),
        ("line", ""): (560 - 156, 24, 40),
    }


@pytest.mark.parametrize(
    ("evening", "low", "high"), [("01", 84, 200), ("04", 300, 580), ("09", 130, 170), ("12", 0, 600)]
)
def test_the_parts_of_what_is_left_add_up_to_the_whole(evening, low, high):
    """Of each crew to the length in its plan that has no joint yet, of the line to all of it; and crews to the line."""
    told = two_crews(("bore", "2026-03-25", low, high, "b"), evening=f"2026-03-{evening}")
    own, left = plan_of(told), left_of(told)
    found = {(r.of, r.crew): r for r in remaining(told, own)}
    line = found["line", ""]
    assert line.along_m + line.at_tie_ins_m + line.in_bores_m == pytest.approx(left.sum())
    for crew in ("a", "b"):
        r = found["crew", crew]
        assert r.along_m + r.at_tie_ins_m + r.in_bores_m == pytest.approx(
            (left * own.of(crew).share_of(told.stretches)).sum()
        )
    if low >= 84:  # then no metre is in two plans
        assert sum(r.left_m for r in found.values() if r is not line) == pytest.approx(line.left_m)


def test_the_forecast_counts_what_lies_along_the_line_and_nothing_else():
    told = figures_of(two_crews())
    along = {r.crew: r.along_m for r in told.remaining if r.of != "no plan"}
    assert {f.crew: f.left for f in told.forecasts if f.what == "line"} == pytest.approx(along)
    (bores,) = (f.left for f in told.forecasts if f.what == "bores")
    assert bores == pytest.approx(told.remaining[-1].in_bores_m)


def shown(text):
    return float(text.replace(",", ""))


def test_the_figures_that_are_shown_add_up_in_each_row():
    told, rng = figures_of(two_crews()), np.random.default_rng(5)
    parts = [Remaining("crew", "b", *rng.uniform(0, 2000, 3)) for _ in range(200)]
    left = left_tables(replace(told, remaining=(*parts, told.remaining[-1])))[0]
    assert left.head[1:5] == ("left\nin all", "along\nthe line", "at tie-ins\nnot made", "in\nbores")
    for row, part in zip(left.rows, parts, strict=False):
        assert shown(row[1]) == sum(map(shown, row[2:5])) == round(part.left_m)
        assert abs(shown(row[4]) - part.in_bores_m) <= 1


def test_what_is_left_and_when_says_what_is_needed_and_what_is_over():
    tables = {t.title: t for t in left_tables(figures_of(two_crews()))}
    assert list(tables) == ["What is left, lengths in m", "When it may be done", "Planned tie-ins that are not made"]
    rows = {row[0]: row[1:] for row in tables["What is left, lengths in m"].rows}
    assert list(rows) == ["a", "b", "in no crew's plan", "the whole line"]
    assert rows["b"] == ("416", "364", "12", "40", "52", "8", "Fri 2026-03-20")  # 416 m over 8 working days
    assert rows["in no crew's plan"][4:] == ("-", "-", "-")
    when = tables["When it may be done"]
    assert "a: nothing is left along the line." in when.notes
    assert "the whole line: 40 m of it are in no crew's plan." in when.notes
    assert "bores, tie-ins: cannot be told from 0 days of it: 5 are needed." in when.notes
    late = left_tables(figures_of(two_crews(evening="2026-03-20")))[0].rows
    assert {row[0]: row[5:] for row in late}["b"] == ("-", "over", "Fri 2026-03-20")


def test_one_day_stands_in_two_columns_and_never_as_a_range():
    rows = steady(days=("02", "03", "04", "05", "06", "09", "10"))
    _, when = left_tables(figures_of(work(record(rows, length=600.0, going_on=True), "2026-03-10", plan())))
    (line,) = when.rows
    assert line[:3] == ("the whole line", "Fri 2026-05-08", "Fri 2026-05-08")
    assert line[3:] == ("12 m", "7 days", "-")


def test_each_end_says_which_question_it_answers():
    note = left_tables(figures_of(two_crews()))[1].notes[-1]
    for words in ("along the line alone", "By SPI(t) is the whole plan", "At the average pace since the first day"):
        assert words in note
    bare = left_tables(figures_of(work(record(steady(), length=600.0, going_on=True), "2026-03-10")))[1].notes[-1]
    assert "SPI(t)" not in bare  # without a plan there is none


def test_where_nothing_is_left_one_line_says_so():
    told = figures_of(work(record(steady()), "2026-03-10"))
    nothing = "No length that the records or the plan know of. Gaps, tests and decisions are told elsewhere."
    assert [t.lines for t in left_tables(told)] == [["What is left:", nothing]]


# ---- the calendar ----------------------------------------------------------------------------------------------------


def test_working_days_skip_weekends_holidays_and_weather():
    calendar = Calendar((0, 1, 2, 3, 4), {"": frozenset({day("2026-03-09")})}, {"a": frozenset({day("2026-03-10")})})
    friday = day("2026-03-06")
    assert str(day_of(calendar.after(friday, 1))) == "2026-03-10"
    assert str(day_of(calendar.after(friday, 1, "a"))) == "2026-03-11"
    assert str(day_of(calendar.after(friday, 0))) == "2026-03-06"
    assert np.isnan(Calendar((), {}, {}).after(friday, 1))
    assert [str(day_of(d))[-2:] for d in calendar.planned(friday, friday + 6, "a")] == ["06", "10", "11", "12"]
