"""Progress where plans overlap, days are nobody's, and clocks are silent. All data is invented."""

import numpy as np
import pytest

from asbuilt import build
from asbuilt.progress.days import daily
from asbuilt.progress.figures import assumptions, figures_of
from asbuilt.progress.missing import missing_between
from asbuilt.progress.planned import compare, left_of, plan_of
from asbuilt.settings import load
from tests.making import csv_of, make_route, make_workbook
from tests.work_record import day, gap, joint, plan, record, work

FRIDAY = "2026-03-06"
DAYS = ("02", "03", "04", "05", "06")
ROWS = ("J1,2026-03-02 10:00,500012,5250000,215", "J2,2026-03-03 10:00,500024,5250000,215")
SOURCE = """[[records]]
files = ["records/log.xlsx"]
sheet = "{sheet}"
crew = "{crew}"
crs = "EPSG:7855"
accuracy = "95%"
default_accuracy = "1 m"
[records.columns]
joint = "Joint"
time = "Finished"
easting = "East"
northing = "North"
heater_temperature = "Plate (°C)"
"""


def week(crew="a", start=0, step=12):
    """A joint each day from Monday to Friday."""
    return [joint(f"{crew}{d}", start + step * (i + 1), f"2026-03-{d}T09:00", crew=crew) for i, d in enumerate(DAYS)]


def told(rows, schedule, *, length=600.0, evening=FRIDAY):
    return work(record(rows, length=length, going_on=True), evening, schedule)


def test_the_end_by_spi_is_a_day_on_which_the_crew_works():
    """The first reach is done as planned (SPI 1), the rest is planned for one day after a holiday of four weeks."""
    off = [("holiday", f"2026-03-{d:02d}", np.nan, np.nan, "a") for d in range(9, 32)]
    schedule = plan(("work", FRIDAY, 0, 60, "a", "2026-03-02"), ("work", "2026-04-07", 60, 120, "a"), *off)
    found = told(week(), schedule)
    own = compare(found, plan_of(found), "a")
    assert own.index == pytest.approx(1.0)
    assert own.by_index == day("2026-04-07")


def test_a_planned_day_outside_the_week_counts_and_the_end_lies_ahead():
    """The last reach is planned for a Saturday: on Friday one planned day is left, and so is its work."""
    found = told(
        week(), plan(("work", FRIDAY, 0, 60, "a", "2026-03-02"), ("work", "2026-03-07", 60, 72, "a")), length=72.0
    )
    own = compare(found, plan_of(found), "a")
    assert own.left_m == pytest.approx(12.0)
    assert (own.earned_days, own.elapsed_days) == (pytest.approx(5.0), 5)
    assert own.by_index > day(FRIDAY)


def test_reaches_that_overlap_hide_no_line_that_nobody_has_planned():
    schedule = plan(("work", "2026-03-20", 0, 400, "a"), ("work", "2026-03-20", 500, 200, "b"))
    rows = [*week("a"), *week("b", start=430)]
    found = figures_of(told(rows, schedule))
    line = next(f for f in found.forecasts if f.what == "line" and not f.crew)
    assert np.isnan(line.p50)
    assert line.why == "100 m of it are in no crew's plan"


def test_pipe_between_joints_of_which_one_has_no_time_is_no_work_to_come():
    rows = week()
    rows[2] = joint("a04", 36, "")
    found = work(record(rows, length=60.0), FRIDAY, plan())
    assert left_of(found).sum() == 0
    assert daily(found)["new_m"].sum() == pytest.approx(60 - 24)
    assert any(text.startswith("1 joint") and "no time" in text for text in assumptions(figures_of(found)))


def test_records_that_are_missing_between_two_days_are_in_neither_row():
    ends = {"from_joint": "a03", "to_joint": "a04"}
    rows = [row | {"chainage_m": row["chainage_m"] + 36 * (row["joint_id"] >= "a04")} for row in week()]
    found = work(record(rows, gaps=[gap(24.0, 72.0, missing=3) | ends], length=600.0), FRIDAY, plan())
    (said,) = missing_between(found)
    assert said.endswith("a 3 records between a03 (Tue 09:00) and a04 (Wed 09:00).")
    assert missing_between(found, last=2) == ()  # Thursday and Friday have all of theirs
    before = work(record(rows, gaps=[gap(24.0, 72.0, missing=3) | ends], length=600.0), "2026-03-03", plan())
    assert missing_between(before) == ()  # on that evening nobody knew


def test_a_plan_for_a_crew_that_no_file_is_named_after_is_said():
    found = figures_of(told(week(), plan(("work", FRIDAY, 0, 60, "Dawn"))))
    assert "The plan names Dawn: no record file has this name, and nothing is counted as theirs." in assumptions(found)


def test_sheets_of_one_workbook_may_be_of_several_crews(tmp_path):
    heading, first, second = (line.split(",") for line in csv_of(*ROWS).strip().splitlines())
    route = make_route(tmp_path, records=None)
    (route / "records").mkdir()
    make_workbook(route / "records/log.xlsx", {"North": [heading, first], "South": [heading, second]})
    text = (route / "route.toml").read_text(encoding="utf-8")
    start, end = text.index("[[records]]"), text.index("[pipe]")
    sources = "".join(SOURCE.format(sheet=sheet, crew=crew) for sheet, crew in (("North", "Dawn"), ("South", "Dusk")))
    (route / "route.toml").write_text(f"{text[:start]}{sources}{text[end:]}", encoding="utf-8")
    made = build.build(load(route))
    crews = made.schedule.crews(made.tables["joints"])
    assert dict(zip(made.tables["joints"]["joint_id"], crews, strict=True)) == {"J1": "Dawn", "J2": "Dusk"}
