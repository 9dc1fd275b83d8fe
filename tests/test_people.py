"""People, machines and what the eye saw: read from lists good and bad, and judged. All data is invented."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from asbuilt.errors import InputError
from asbuilt.judge.added import with_added
from asbuilt.judge.entries import methods_of
from asbuilt.judge.eye import judge_eye
from asbuilt.judge.machines import days_without_trial, piston_areas
from asbuilt.judge.people import judge_machines, judge_operators
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.read.people import MACHINES, PEOPLE, read_machines, read_people
from asbuilt.settings import load
from asbuilt.tables import WINDOW_CHECKS
from tests.making import make_route, make_workbook

HOBART = ZoneInfo("Australia/Hobart")
LIST = "Operator,Method,OD from (mm),OD to (mm),Valid from,Valid to\n"
ONE = LIST + "op 1,butt fusion,110,630,2025-04-01,2026-03-31\n"
CALIBRATED = "Machine,Piston area (mm2),Calibrated,Valid to\nM1,4000,2025-06-01,2026-05-31\n"


def put(folder, *, more="", changes=None, **lists):
    """Write a route with lists beside its records (people="...", machines="..."), and return its settings."""
    make_route(folder, more=more, toml_changes=changes)
    for name, content in lists.items():
        if content is not None:
            (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    return load(folder)


def reasons(listing):
    return dict(zip(listing.set_aside["source_row"], listing.set_aside["reason"], strict=True))


def days(column):
    return [None if pd.isna(day) else f"{day:%Y-%m-%d}" for day in column]


# --- reading ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("read", "columns"), [(read_people, PEOPLE), (read_machines, MACHINES)])
def test_without_files_lists_are_empty_and_not_given(tmp_path, read, columns):
    found = read(put(tmp_path))
    assert {n: str(d) for n, d in found.rows.dtypes.items()} == {
        n: "object" if k is object else k for n, k in columns.items()
    }
    assert (len(found.rows), found.is_given, found.told) == (0, False, ())


def test_a_list_with_a_heading_alone_is_given(tmp_path):
    found = read_people(put(tmp_path, people=LIST))
    assert (found.is_given, len(found.rows)) == (True, 0)
    assert "people.csv: there is no row below its heading" in found.told


def test_people_in_words_of_the_trade_and_inches(tmp_path):
    heading = "Welder;Joining method;Min OD (in);Max OD (in);Qualified on;Expiry date;Phone"
    found = read_people(put(tmp_path, people=f"{heading}\n op  7;BF;2.375;8.625;14/02/2026;13/02/2028;x\n"))
    (row,) = found.rows.to_dict("records")
    assert (row["operator"], row["method"], row["source_row"]) == ("op 7", "BF", 2)
    # 2.375 and 8.625 in are 60.325 and 219.075 mm, by the definition of the inch
    assert (row["size_from_mm"], row["size_to_mm"]) == (pytest.approx(60.325), pytest.approx(219.075))
    assert days([row["valid_from"], row["valid_to"]]) == ["2026-02-14", "2028-02-13"]
    assert any("columns not used: 'Phone'" in note for note in found.notes)


def test_the_order_that_one_column_of_days_proves_is_both_columns(tmp_path):
    text = "Operator,Valid from,Valid to\nop 1,03/04/2026,12/25/2026\nop 2,05/06/2026,06/07/2026\n"
    found = read_people(put(tmp_path, people=text))
    assert days(found.rows["valid_from"]) == ["2026-03-04", "2026-05-06"]
    assert days(found.rows["valid_to"]) == ["2026-12-25", "2026-06-07"]
    note = "people.csv: column Valid from and Valid to: day and month read month first, as '12/25/2026' shows"
    assert note in found.notes


def test_an_order_that_nothing_proves_is_refused_and_a_format_says_it(tmp_path):
    text = "Operator,Valid from,Valid to\nop 1,03/04/2026,05/06/2026\n"
    with pytest.raises(
        InputError, match="column Valid from and Valid to: '03/04/2026' and '05/06/2026' can be day/month or month/day"
    ):
        read_people(put(tmp_path, people=text))
    spec = '{ column = "Valid %s", format = "%%d/%%m/%%Y" }'
    more = f"[people.columns]\nvalid_from = {spec % 'from'}\nvalid_to = {spec % 'to'}\n"
    found = read_people(put(tmp_path, more=more, people=text))
    assert days([*found.rows["valid_from"], *found.rows["valid_to"]]) == ["2026-04-03", "2026-06-05"]


def test_two_formats_are_read_each_by_its_own(tmp_path):
    text = "Operator,Valid from,Valid to\nop 1,03/04/2026,2026-06-05\nop 2,x,2026-06-05\n"
    more = '[people.columns]\nvalid_from = { column = "Valid from", format = "%d/%m/%Y" }\n'
    found = read_people(put(tmp_path, more=more, people=text))
    assert days([*found.rows["valid_from"], *found.rows["valid_to"]]) == ["2026-04-03", "2026-06-05"]
    assert reasons(found) == {3: "column Valid from: 'x' is not a time of the form %d/%m/%Y"}


def test_dates_of_a_workbook(tmp_path):
    from datetime import date, datetime  # noqa: PLC0415

    rows = [("Machine", "Piston area (in2)", "Calibrated", "Due"), ("M1", 4.71, date(2026, 1, 5), datetime(2027, 1, 4))]
    make_route(tmp_path, more='[machines]\nfiles = ["machines.xlsx"]\n')
    make_workbook(tmp_path / "machines.xlsx", {"List": rows})
    found = read_machines(load(tmp_path))
    assert days([*found.rows["calibrated"], *found.rows["valid_to"]]) == ["2026-01-05", "2027-01-04"]
    # 4.71 in² at 645.16 mm² to the square inch, by the definition of the inch
    assert found.rows["piston_area_mm2"][0] == pytest.approx(4.71 * 645.16)
    assert (found.file, found.rows["sheet"][0]) == ("machines.xlsx", "List")


def test_rows_that_cannot_be_used_are_set_aside_with_their_reason(tmp_path):
    rows = [
        ",butt fusion,110,630,2025-04-01,2026-03-31",
        "op 2,butt fusion,abc,630,2025-04-01,2026-03-31",
        "op 3,butt fusion,630,110,2025-04-01,2026-03-31",
        "op 4,butt fusion,110,630,2026-04-01,2026-03-31",
        "op 5,butt fusion,110,630,soon,2026-03-31",
        "op 6,,,,,",
        "Total,,,,,6",
        "op 7,butt fusion,,,,2026-03-31",
        "op 8,butt fusion,250,250,2026-03-31,2026-03-31",
        "op 9,butt fusion,110,630,2025-04-01,never",
    ]
    found = read_people(put(tmp_path, people=LIST + "\n".join(rows)))
    assert list(found.rows["operator"]) == ["op 7", "op 8"]  # one size, and one day, are a range
    told = reasons(found)
    assert set(told) == {*range(2, 9), 11}
    assert told[11] == "column Valid to: 'never' is not a time"
    assert told[2] == "no operator is named"
    assert told[3].startswith("column OD from (mm): 'abc' is not a number")
    assert told[4] == "its largest size is less than its smallest"
    assert told[5] == "valid to the day before it is valid from, or earlier"
    assert told[6] == "column Valid from: 'soon' is not a time"
    assert "only one cell is filled" in told[7]
    assert told[8] == "a total row, not a record"
    assert "people.csv row 2: left out, no operator is named" in found.told


@pytest.mark.parametrize(
    ("name", "heading", "could"),
    [
        ("people", "Operator,OD to,Valid to", "column OD to: it could be size_to"),
        ("people", "Operator,Expires,Valid until", "column Expires: it could be valid_to"),
        ("machines", "Machine,Piston area,Valid to", "column Piston area: it could be piston_area"),
        (
            "machines",
            "Machine,Piston area,Valid to",
            r"a heading may have it, as in 'Piston area \(mm2\)'",
        ),
    ],
)
def test_a_column_that_could_limit_and_is_not_read_is_refused(tmp_path, name, heading, could):
    read = {"people": read_people, "machines": read_machines}[name]
    with pytest.raises(InputError, match=could):
        read(put(tmp_path, **{name: f"{heading}\nX1,1,2\n"}))


def test_a_list_without_names_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"no column holds the name of a machine; map machine in \[machines.columns\]"):
        read_machines(put(tmp_path, machines="Calibrated,Valid to\n2026-01-01,2026-02-01\n"))


def test_a_piston_area_that_is_none_is_told_and_left_empty(tmp_path):
    text = "Machine,Piston area (mm2)\nM1,0\nM2,-5\nM3,big\nM4,4000\n"
    found = read_machines(put(tmp_path, machines=text))
    assert found.rows["piston_area_mm2"].isna().tolist() == [True, True, True, False]
    assert any("row 2, column Piston area (mm2): a piston area is more than zero" in note for note in found.notes)


# --- joints -----------------------------------------------------------------------------------------------------------

JOINT = {
    "source_file": "a.csv", "sheet": "", "joint": "1", "operator": "op 1", "machine": "M1", "method": None,
    "visual": None, "outcome": "joint", "fused_at": "2026-02-01 02:00", "piston_area_mm2": np.nan, "od": 250.0,
    "fusion_pressure_kind": "gauge", "bead_pressure_kind": "gauge", "soak_pressure_kind": "gauge",
    "second_pressure_kind": "gauge", "second_pressure_mpa": np.nan,
    "fusion_pressure_mpa": 2.0, "bead_pressure_mpa": np.nan, "soak_pressure_mpa": np.nan,
}  # fmt: skip


def joints(*changes):
    """Joints as `read` and `lineage` give them, on an index that is none of positions; times are UTC."""
    table = pd.DataFrame([JOINT | {"source_row": n} | change for n, change in enumerate(changes, start=2)])
    times = pd.to_datetime(table["fused_at"], format="mixed").astype("datetime64[us]")
    return table.assign(fused_at=times).set_index(pd.Index(10 + np.arange(len(table)) * 3))


def operators(folder, people, *changes, **how):
    settings, rows = put(folder, people=people, **how), joints(*changes)
    listing = read_people(settings)
    return judge_operators(rows, rows["od"].to_numpy(), people=listing, settings=settings, zone=HOBART)


def machines(folder, content, *changes, **how):
    settings = put(folder, machines=content, **how)
    return judge_machines(joints(*changes), machines=read_machines(settings), settings=settings, zone=HOBART)


def statements(added):
    return [finding.statement for finding in added.findings]


HELD = "op 1, listed from 2025-04-01 to 2026-03-31"


@pytest.mark.parametrize(
    ("change", "verdict", "cause"),
    [
        ({}, IN_WINDOW, HELD),
        ({"operator": " OP  1 "}, IN_WINDOW, HELD.replace("op", "OP")),
        ({"fused_at": "2025-03-31 13:30"}, IN_WINDOW, HELD),  # 00:30 of 1 April in Hobart
        ({"fused_at": "2025-03-31 12:30"}, OUT_OF_WINDOW, "began on 2025-04-01, the joint was made on 2025-03-31"),
        ({"fused_at": "2026-03-31 12:59"}, IN_WINDOW, HELD),  # 23:59 of the last day
        ({"fused_at": "2026-03-31 13:00"}, OUT_OF_WINDOW, "ended on 2026-03-31, the joint was made on 2026-04-01"),
        ({"fused_at": None}, CANNOT_TELL, "the joint has no date that can be used"),
        ({"operator": None}, NOT_RECORDED, "no operator is named"),
        ({"operator": "op 11"}, CANNOT_TELL, "people.csv does not list operator op 11"),
        ({"od": 110.0}, IN_WINDOW, HELD),
        ({"od": 630.0}, IN_WINDOW, HELD),
        ({"od": 109.95}, IN_WINDOW, HELD),  # a catalogue's rounding
        ({"od": 90.0}, OUT_OF_WINDOW, "operator op 1 is listed for 110.0 to 630.0 mm, the pipe has 90.0 mm"),
        ({"od": np.nan}, CANNOT_TELL, "the outside diameter of the pipe is not known"),
        ({"method": "Butt"}, IN_WINDOW, HELD),
        ({"method": "EF coupler"}, OUT_OF_WINDOW, "listed for butt fusion, the joint is electrofusion"),
        ({"method": "hot gas"}, CANNOT_TELL, "for butt fusion: whether that is hot gas cannot be told"),
        ({"method": "flanged"}, NO_WINDOW, "neither butt fusion nor electrofusion"),
        ({"method": "saddle", "operator": None}, NO_WINDOW, "neither butt fusion nor electrofusion"),
        ({"outcome": "trial", "fused_at": "2020-01-01"}, NO_WINDOW, "a trial joint"),
    ],
)
def test_an_operator_on_one_day_with_one_size_and_method(tmp_path, change, verdict, cause):
    checks = operators(tmp_path, ONE, change).checks
    assert checks["verdict"].to_list() == [verdict]
    assert cause in checks["cause"].iloc[0]
    assert (checks["cause"].iloc[0] == cause) or verdict != IN_WINDOW


def test_what_passed_is_said_in_the_check_and_is_no_reason(tmp_path):
    rows = pd.DataFrame({"fusion_verdict": [IN_WINDOW], "reasons": [()]}, index=[10])
    words = eye(tmp_path / "a", "tidy", changes={"window.visual": {"pass": ["tidy"], "fail": ["reject"]}})
    people, plant = operators(tmp_path / "b", ONE, {}), machines(tmp_path / "c", CALIBRATED, {})
    checks = pd.concat([words.checks, people.checks, plant.checks]).assign(required=True)
    assert checks["verdict"].to_list() == [IN_WINDOW] * 3
    assert (checks["cause"] != "").all()
    assert with_added(rows, checks)["reasons"].to_list() == [()]


def test_all_that_is_out_is_said(tmp_path):
    cause = operators(tmp_path, ONE, {"od": 90.0, "fused_at": "2026-05-01"}).checks["cause"].iloc[0]
    assert cause == (
        "qualification of operator op 1 for butt fusion ended on 2026-03-31, the joint was made on 2026-05-01;"
        " operator op 1 is listed for 110.0 to 630.0 mm, the pipe has 90.0 mm"
    )


def test_checks_have_the_columns_of_those_of_windows_and_name_the_row_of_the_list(tmp_path):
    checks = operators(tmp_path, ONE, {}, {"operator": "op 5"}, changes={"window.required": None}).checks
    assert set(checks) == {"row", *(set(WINDOW_CHECKS.names) - {"joint_id"})}
    assert checks["row"].to_list() == [10, 13]
    assert checks["source"].to_list() == ["people.csv row 2", "people.csv"]
    assert set(checks["check"]) == {"operator"}
    assert set(checks["status"]) == {"project"}
    assert checks["required"].all()


@pytest.mark.parametrize(("required", "expected"), [(["heater_temperature"], False), (None, True)])
def test_the_route_file_says_what_is_required(tmp_path, required, expected):
    checks = operators(tmp_path, ONE, {}, changes={"window.required": required}).checks
    assert checks["required"].to_list() == [expected]


@pytest.mark.parametrize(
    ("row", "cause"),
    [
        ("op 1,butt fusion,110,630,2025-04-01,", "people.csv row 3 does not say until when operator op 1 is qualified"),
        ("op 1,butt fusion,110,630,,2026-03-31", "people.csv row 3 does not say from when operator op 1 is qualified"),
        ("op 1,butt fusion,110,630,,", "does not say from when and until when"),
        ("op 1,butt fusion,,,2025-04-01,2026-03-31", "people.csv row 3 does not say for which sizes"),
        ("op 1,,110,630,2025-04-01,2026-03-31", "people.csv row 3 does not say for which method"),
    ],
)
def test_what_the_list_leaves_open_cannot_be_told(tmp_path, row, cause):
    other = "op 9,butt fusion,110,630,2025-04-01,2026-03-31\n"
    found = operators(tmp_path, f"{LIST}{other}{row}\n", {}, {})
    assert found.checks["verdict"].to_list() == [CANNOT_TELL] * 2
    assert cause in found.checks["cause"].iloc[0]
    (said,) = statements(found)
    assert said.startswith("Operator op 1: people.csv row 3 does not say")
    assert said.endswith("Cannot be judged: 2 joints, on 2026-02-01.")


def test_a_side_that_is_open_is_open(tmp_path):
    row = "op 1,butt fusion,,250,2025-04-01,2026-03-31\nop 2,butt fusion,250,,2025-04-01,2026-03-31\n"
    changes = ({"od": 32.0}, {"od": 315.0}, {"operator": "op 2", "od": 900.0}, {"operator": "op 2", "od": 90.0})
    checks = operators(tmp_path, LIST + row, *changes).checks
    assert checks["verdict"].to_list() == [IN_WINDOW, OUT_OF_WINDOW, IN_WINDOW, OUT_OF_WINDOW]
    assert "listed for up to 250.0 mm" in checks["cause"].iloc[1]
    assert "listed for 250.0 mm and up" in checks["cause"].iloc[3]


def test_a_list_without_sizes_and_methods_is_judged_by_days_and_that_is_said(tmp_path):
    text = "Operator,Valid from,Valid to\nop 1,2025-04-01,2026-03-31\n"
    found = operators(tmp_path, text, {"od": np.nan}, {"method": "EF"})
    assert found.checks["verdict"].to_list() == [IN_WINDOW] * 2
    assert found.statements == (
        "people.csv states no size for anybody: operators were judged without regard to it.",
        "people.csv states no method for anybody: operators were judged without regard to it.",
    )


def test_of_several_entries_one_that_fits_is_enough_and_else_the_nearest_is_named(tmp_path):
    rows = [
        "op 1,butt fusion,110,250,2024-01-01,2024-12-31",
        "op 1,butt fusion,110,250,2026-03-01,2026-12-31",
        "op 1,electrofusion,110,630,2026-01-01,2026-12-31",
    ]
    changes = ({"fused_at": "2026-02-25"}, {"fused_at": "2026-03-02"}, {"method": "EF"}, {"fused_at": "2024-06-01"})
    found = operators(tmp_path, LIST + "\n".join(rows), *changes)
    assert found.checks["verdict"].to_list() == [OUT_OF_WINDOW, IN_WINDOW, IN_WINDOW, IN_WINDOW]
    assert found.checks["source"].to_list() == [f"people.csv row {n}" for n in (3, 3, 4, 2)]
    (said,) = statements(found)
    began = (
        "Qualification of operator op 1 for butt fusion began on 2026-03-01; 1 joint was made before it, on 2026-02-25."
    )
    assert said == f"{began} The one before it ended on 2024-12-31."


def test_the_entry_that_fails_least_is_named(tmp_path):
    rows = "op 1,butt fusion,63,90,2024-01-01,2024-12-31\nop 1,electrofusion,63,630,2026-01-01,2026-12-31\n"
    checks = operators(tmp_path, LIST + rows, {}).checks
    assert checks["cause"].to_list() == ["operator op 1 is listed for electrofusion, the joint is butt fusion"]


def test_joints_that_were_cut_out_count_and_duplicates_do_not(tmp_path):
    late = {"fused_at": "2026-05-01"}
    outcomes = ("superseded", "duplicate", "trial", "set aside")
    (finding,) = operators(tmp_path, ONE, *(late | {"outcome": outcome} for outcome in outcomes)).findings
    assert finding.rows.tolist() == [10]


def test_valid_for_fills_in_where_no_end_is_stated(tmp_path):
    text = "Operator,Valid from,Valid to\nop 1,2024-01-31,\nop 2,2024-01-31,2024-03-01\n"
    day = {"fused_at": "2026-01-31 03:00"}
    changes = (day, {"fused_at": "2026-02-01 03:00"}, day | {"operator": "op 2"})
    found = operators(tmp_path, text, *changes, more='[people]\nvalid_for = "2 years"\n')
    assert found.checks["verdict"].to_list() == [IN_WINDOW, OUT_OF_WINDOW, OUT_OF_WINDOW]


def test_by_the_us_rule_the_earlier_day_counts_and_the_rule_is_named(tmp_path):
    text = "Operator,Qualified on,Expires\nop 1,2024-12-01,2027-12-31\nop 2,2025-03-01,2025-06-30\n"
    changes = ({"fused_at": "2026-01-05"}, {"operator": "op 2", "fused_at": "2025-07-15"}, {"fused_at": "2025-12-30"})
    found = operators(tmp_path, text, *changes, more='[people]\nrule = "49 CFR 192.285"\n')
    assert found.checks["verdict"].to_list() == [OUT_OF_WINDOW, OUT_OF_WINDOW, IN_WINDOW]
    assert "op 1 ended on 2025-12-31" in found.checks["cause"].iloc[0]
    assert "op 2 ended on 2025-06-30" in found.checks["cause"].iloc[1]
    assert found.checks["source"].str.contains("49 CFR 192.285(c)", regex=False).all()
    assert set(found.checks["status"]) == {"read"}
    assert all("The last day follows from 49 CFR 192.285(c)" in said for said in statements(found))
    assert any("found unacceptable by testing: that is not judged here" in said for said in found.statements)


def test_without_a_list_nothing_is_judged_and_that_is_said_once(tmp_path):
    people, plant = operators(tmp_path, None, {}, {}), machines(tmp_path, None, {})
    assert (len(people.checks), people.findings, len(plant.checks)) == (0, (), 0)
    assert people.statements == (
        "There is no people.csv: whether operators were qualified on the day of each joint was not judged.",
    )
    assert plant.statements[0].startswith("There is no machines.csv: whether machines were in calibration")


def test_who_is_not_listed_is_one_finding_with_the_nearest_name(tmp_path):
    days = ({"operator": "op1", "fused_at": f"2026-02-0{n} 02:00"} for n in (3, 1, 2))
    found = operators(tmp_path, ONE, *days, {"operator": "op 2"}, {})
    assert sorted(statements(found), reverse=True) == [
        "Operator op1 is not in people.csv (the nearest name in it is 'op 1'). Cannot be judged: 3 joints, from"
        " 2026-02-01 to 2026-02-03.",
        "Operator op 2 is not in people.csv. Cannot be judged: 1 joint, on 2026-02-01.",
    ]
    assert found.findings[1].rows.tolist() == [10, 13, 16]
    assert {finding.kind for finding in found.findings} == {"operator"}


def test_what_ran_out_and_what_is_of_another_size_are_findings_of_their_own(tmp_path):
    late = [{"fused_at": f"2026-04-0{n} 02:00"} for n in (1, 5)]
    found = operators(
        tmp_path, ONE, *late, {"od": 90.0}, {"od": 63.0}, {"method": "EF"}, {"outcome": "duplicate", "od": 1}
    )
    assert statements(found) == [
        "Qualification of operator op 1 for butt fusion ended on 2026-03-31; 2 joints were made after it, from"
        " 2026-04-01 to 2026-04-05.",
        "Operator op 1 is listed for butt fusion. By another method: 1 joint (electrofusion), on 2026-02-01.",
        "Operator op 1 is listed for 110.0 to 630.0 mm. Of another size: 2 joints (63.0 mm, 90.0 mm), on 2026-02-01.",
    ]


def test_joints_before_the_first_day_and_after_the_last_are_two_findings(tmp_path):
    early, late = {"fused_at": "2025-03-01", "operator": "OP 1"}, {"fused_at": "2026-05-01"}
    found = operators(tmp_path, ONE, early, late, early)
    assert statements(found) == [
        "Qualification of operator OP 1 for butt fusion began on 2025-04-01; 2 joints were made before it, on"
        " 2025-03-01.",
        "Qualification of operator OP 1 for butt fusion ended on 2026-03-31; 1 joint was made after it, on 2026-05-01.",
    ]
    assert [finding.rows.tolist() for finding in found.findings] == [[10, 16], [13]]


def test_a_list_without_methods_names_none(tmp_path):
    text = "Operator,Valid from,Valid to\nop 1,2025-04-01,2026-03-31\n"
    (said,) = statements(operators(tmp_path, text, {"fused_at": "2026-05-01"}))
    assert said == "Qualification of operator op 1 ended on 2026-03-31; 1 joint was made after it, on 2026-05-01."


def test_between_two_calibrations_the_lapse_is_named(tmp_path):
    text = "Machine,Calibrated,Valid to\nM1,2025-04-23,2026-04-22\nM1,2026-05-02,2027-05-01\n"
    found = machines(tmp_path, text, {"fused_at": "2026-04-23"}, {"fused_at": "2026-04-30"}, {"fused_at": "2026-05-02"})
    assert statements(found) == [
        "Calibration of M1 began on 2026-05-02; 1 joint was made before it, on 2026-04-30. The one before it ended on"
        " 2026-04-22.",
        "Calibration of M1 ended on 2026-04-22; 1 joint was made after it, on 2026-04-23.",
    ]


def test_a_clock_that_was_lost_says_nothing_of_a_day(tmp_path):
    later = [{"fused_at": f"2026-02-0{n} 02:00"} for n in range(1, 6)]
    found = operators(tmp_path, ONE, {"fused_at": "1980-01-06 01:00"}, *later)
    assert found.checks["verdict"].to_list() == [CANNOT_TELL, *[IN_WINDOW] * 5]
    assert found.checks["cause"].iloc[0] == "the joint has no date that can be used"


def test_many_joints_are_judged_as_one_by_one(tmp_path):
    rng = np.random.default_rng(4)
    text = LIST + "".join(
        f"op {rng.integers(4)},{rng.choice(['butt fusion', 'EF', 'BF; EF'])},110,{rng.choice([250, 630])},"
        f"202{rng.integers(4, 7)}-0{rng.integers(1, 6)}-01,202{rng.integers(7, 9)}-01-01\n"
        for _ in range(8)
    )
    changes = [
        {"operator": f"op {rng.integers(5)}", "od": rng.choice([63.0, 200.0, 400.0])}
        | {"fused_at": f"202{rng.integers(4, 8)}-03-10", "method": rng.choice(["", "EF"])}
        for _ in range(24)
    ]
    together = operators(tmp_path, text, *changes).checks
    alone = pd.concat([operators(tmp_path, text, change).checks for change in changes])
    same = ["verdict", "cause", "source"]
    assert together[same].to_numpy().tolist() == alone[same].to_numpy().tolist()
    assert together["verdict"].nunique() == 3


@pytest.mark.parametrize(
    ("text", "methods"),
    [
        ("Butt", {"butt fusion"}),
        ("BF and EF", {"butt fusion", "electrofusion"}),
        ("electrofusion saddle", {"electrofusion"}),
        ("socket/saddle", {"socket fusion", "saddle fusion"}),
        ("chefs' method", {"chefs' method"}),
        ("", set()),
    ],
)
def test_words_for_methods(text, methods):
    assert methods_of(text) == methods


# --- machines ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "verdict", "cause"),
    [
        ({}, IN_WINDOW, "M1, calibrated until 2026-05-31"),
        (
            {"fused_at": "2026-06-01 02:00"},
            OUT_OF_WINDOW,
            "calibration of M1 ended on 2026-05-31, the joint was made on 2026-06-01",
        ),
        ({"fused_at": "2025-05-01"}, OUT_OF_WINDOW, "calibration of M1 began on 2025-06-01, the joint was made on"),
        ({"machine": "M2"}, CANNOT_TELL, "machines.csv does not list machine M2"),
        ({"machine": None}, NOT_RECORDED, "no machine is named"),
        ({"method": "EF", "od": np.nan}, IN_WINDOW, "M1, calibrated until 2026-05-31"),
    ],
)
def test_a_machine_on_one_day(tmp_path, change, verdict, cause):
    checks = machines(tmp_path, CALIBRATED, change).checks
    assert checks[["check", "verdict"]].iloc[0].to_list() == ["machine", verdict]
    assert cause in checks["cause"].iloc[0]


def test_how_long_a_calibration_holds_may_be_said_in_the_route_file(tmp_path):
    text = "Machine,Calibrated\nM1,2025-02-01\n"
    assert machines(tmp_path, text, {}).checks["verdict"].to_list() == [CANNOT_TELL]
    more = '[machines]\nvalid_for = "12 months"\n'
    changes = ({"fused_at": "2026-02-01 02:00"}, {"fused_at": "2026-02-02 02:00"})
    found = machines(tmp_path, text, *changes, more=more)
    assert found.checks["verdict"].to_list() == [IN_WINDOW, OUT_OF_WINDOW]
    (said,) = statements(found)
    assert said == ("Calibration of M1 ended on 2026-02-01; 1 joint was made after it, on 2026-02-02.")


def areas(folder, content, *changes):
    listing = read_machines(put(folder, machines=content))
    return piston_areas(joints(*changes), machines=listing, zone=HOBART)


def test_the_record_outranks_the_list_and_a_disagreement_is_a_finding(tmp_path):
    found = areas(tmp_path, CALIBRATED, {"piston_area_mm2": 4300.0}, {"piston_area_mm2": 4030.0}, {})
    assert found.values.tolist() == [4300.0, 4030.0, 4000.0]
    (finding,) = found.findings
    assert finding.rows.tolist() == [10]
    assert finding.statement == (
        "Machine M1: 1 record with a piston area of 4,300 mm², machines.csv states 4,000 mm². That of the record was"
        " used; if the list is right, a pressure at the melt face computed from the gauge is off by up to 7.5 %."
    )
    assert found.statements == (
        "The piston area of machines.csv was used for 1 joint whose record states none: M1 4,000 mm².",
    )


def test_an_area_that_nothing_needs_is_not_said_to_be_used(tmp_path):
    changes = ({"fusion_pressure_kind": "interfacial"}, {"fusion_pressure_mpa": np.nan}, {"machine": "M9"})
    found = areas(tmp_path, CALIBRATED, *changes)
    assert (found.findings, found.statements) == ((), ())
    assert np.isnan(found.values[2])


def test_of_several_areas_that_in_force_on_the_day_counts(tmp_path):
    text = (
        "Machine,Piston area (mm2),Calibrated,Valid to\n"
        "M1,4000,2025-01-01,2025-12-31\nM1,5000,2026-01-01,\nM1,6000,2026-06-01,2027-01-01\n"
    )
    times = ("2025-05-01", "2026-02-01", "2026-07-01", "2024-01-01", None)
    found = areas(tmp_path, text, *({"fused_at": time} for time in times))
    np.testing.assert_array_equal(found.values, [4000.0, 5000.0, np.nan, np.nan, np.nan])


def test_without_areas_in_the_list_the_records_stay(tmp_path):
    found = areas(tmp_path, "Machine,Calibrated\nM1,2025-02-01\n", {"piston_area_mm2": 4300.0}, {})
    np.testing.assert_array_equal(found.values, [4300.0, np.nan])
    assert (found.findings, found.statements) == ((), ())


def test_machine_days_without_a_trial_joint_are_one_finding():
    rows = joints(
        {"fused_at": "2026-02-01 02:00"},
        {"fused_at": "2026-02-01 01:00", "outcome": "trial", "machine": "m1"},
        {"fused_at": "2026-02-01 13:30"},  # already 2 February in Hobart
        {"fused_at": "2026-02-02 04:00", "outcome": "superseded"},
        {"fused_at": "2026-02-01 02:00", "machine": "M2"},
        {"fused_at": "2026-02-03 02:00", "method": "flange"},
        {"fused_at": "2026-02-04 02:00", "outcome": "duplicate"},
        {"fused_at": None},
        {"machine": None},
    )
    (finding,) = days_without_trial(rows, HOBART)
    assert finding.kind == "trial"
    assert finding.rows.tolist() == [16, 19, 22]
    assert finding.statement == (
        "No trial or test joint of the same machine on the same day: 2 of 3 machine-days with joints (M1 on 2026-02-02;"
        " M2 on 2026-02-01). Whether one is due each day, the contract and the procedure say. 2 joints without machine"
        " or date left out."
    )


def test_a_trial_on_each_day_is_no_finding_and_many_days_are_counted():
    trial = {"outcome": "trial"}
    assert days_without_trial(joints({}, trial), HOBART) == ()
    (finding,) = days_without_trial(joints(*({"fused_at": f"2026-02-{n:02d}"} for n in range(1, 21))), HOBART)
    assert "20 of 20 machine-days" in finding.statement
    assert "; and 8 more)" in finding.statement


# --- what the eye saw -------------------------------------------------------------------------------------------------

WORDS = {"window.visual": {"pass": ["OK", "good"], "fail": ["reject"]}}


def eye(folder, *words, changes=WORDS, recorded=frozenset({"visual"})):
    settings = put(folder, changes=changes)
    return judge_eye(joints(*({"visual": word} for word in words)), settings=settings, recorded=recorded)


def test_words_of_the_eye_decide(tmp_path):
    found = eye(tmp_path, "ok", " Reject", "fair", None, "Good")
    expected = [IN_WINDOW, OUT_OF_WINDOW, CANNOT_TELL, NOT_RECORDED, IN_WINDOW]
    assert found.checks["verdict"].to_list() == expected
    causes = [
        "recorded 'ok', a word that passes",
        "rejected by eye: ' Reject'",
        "'fair' is none of the words of [window.visual]",
    ]
    last = ["what the eye saw was not recorded", "recorded 'Good', a word that passes"]
    assert found.checks["cause"].to_list() == [*causes, *last]


def test_unknown_words_are_one_finding(tmp_path):
    found = eye(tmp_path, "fair", "ok", "Fair ", "hm")
    (finding,) = found.findings
    assert finding.rows.tolist() == [10, 16, 19]
    assert finding.statement == (
        "What the eye saw is recorded in words that [window.visual] does not map: 'fair' 2, 'hm' 1. Whether it passed"
        " cannot be told."
    )


def test_a_lone_unknown_word_is_said_as_it_was_written_and_without_a_count(tmp_path):
    (finding,) = eye(tmp_path, "hm, ask Jan", "ok").findings
    assert finding.statement == (
        "What the eye saw is recorded in a word that [window.visual] does not map: 'hm, ask Jan'. Whether it passed"
        " cannot be told."
    )
    (of_two,) = eye(tmp_path / "b", "Hm, ask  Jan", "hm, ask jan").findings
    assert "does not map: 'Hm, ask Jan'." in of_two.statement


def test_a_word_on_a_duplicate_is_not_counted(tmp_path):
    rows = joints({"visual": "fair"}, {"visual": "fair", "outcome": "duplicate"})
    (finding,) = judge_eye(rows, settings=put(tmp_path, changes=WORDS), recorded=frozenset({"visual"})).findings
    assert finding.rows.tolist() == [10]


def test_without_a_mapping_the_words_are_counted_and_not_judged(tmp_path):
    found = eye(tmp_path, "ok", "ok", "reject", None, changes={})
    assert (len(found.checks), found.findings) == (0, ())
    assert "recorded of 3 joints ('ok' 2, 'reject' 1), and is not judged" in found.statements[0]
    assert eye(tmp_path, None, changes={}).statements == ()
    assert "recorded of 1 joint ('Tidy'), and is" in eye(tmp_path / "b", "Tidy", changes={}).statements[0]


@pytest.mark.parametrize(
    ("recorded", "asked", "expected"), [({"visual"}, None, True), ({}, None, False), ({}, ["visual"], True)]
)
def test_the_eye_is_required_where_it_has_a_column_or_the_route_says_so(tmp_path, recorded, asked, expected):
    found = eye(tmp_path, "ok", changes=WORDS | {"window.required": asked}, recorded=frozenset(recorded))
    assert found.checks["required"].to_list() == [expected]


# --- how they join the verdict of a joint -----------------------------------------------------------------------------


def joined(before, *added):
    """Return verdict and reasons of one joint with checks added to it: (check, verdict, required, cause)."""
    table = pd.DataFrame(
        {"fusion_verdict": [before], "recorded_n": 5, "procedure_n": 8, "reasons": [("as before",)]}, [7]
    )
    checks = pd.DataFrame(added, columns=["check", "verdict", "required", "cause"]).assign(row=7)
    found = with_added(table, checks)
    assert found[["recorded_n", "procedure_n"]].to_numpy().tolist() == [[5, 8]]
    return found.loc[7, "fusion_verdict"], found.loc[7, "reasons"]


@pytest.mark.parametrize(
    ("before", "check", "verdict", "reason"),
    [
        (IN_WINDOW, ("operator", IN_WINDOW, True, ""), IN_WINDOW, ()),
        (IN_WINDOW, ("visual", OUT_OF_WINDOW, False, "rejected by eye"), OUT_OF_WINDOW, ("rejected by eye",)),
        (IN_WINDOW, ("operator", NOT_RECORDED, True, "not named"), NOT_RECORDED, ("operator: not named",)),
        (IN_WINDOW, ("operator", NOT_RECORDED, False, "not named"), IN_WINDOW, ()),
        (IN_WINDOW, ("machine", CANNOT_TELL, True, "why"), CANNOT_TELL, ("machine: why",)),
        (NOT_RECORDED, ("operator", IN_WINDOW, True, ""), NOT_RECORDED, ()),  # a qualified operator proves no joint
        (NOT_RECORDED, ("operator", CANNOT_TELL, True, "why"), NOT_RECORDED, ("operator: why",)),
        (NO_WINDOW, ("operator", IN_WINDOW, True, ""), NO_WINDOW, ()),
        (NO_WINDOW, ("visual", NOT_RECORDED, True, "none"), NO_WINDOW, ()),
        (NO_WINDOW, ("visual", OUT_OF_WINDOW, True, "rejected by eye"), OUT_OF_WINDOW, ("rejected by eye",)),
        (OUT_OF_WINDOW, ("operator", NO_WINDOW, True, "a trial"), OUT_OF_WINDOW, ()),
    ],
)
def test_the_worst_of_what_is_required_and_whatever_is_out(before, check, verdict, reason):
    assert joined(before, check) == (verdict, ("as before", *reason))


def test_of_several_added_checks_the_worst_counts_and_each_is_said():
    checks = (("operator", CANNOT_TELL, True, "why"), ("visual", OUT_OF_WINDOW, True, "rejected by eye"))
    assert joined(IN_WINDOW, *checks) == (
        OUT_OF_WINDOW,
        ("as before", "operator: why", "rejected by eye"),
    )


def test_checks_of_other_joints_and_no_checks_change_nothing(tmp_path):
    table = pd.DataFrame({"fusion_verdict": [IN_WINDOW, NO_WINDOW], "reasons": [(), ("x",)]}, index=[10, 13])
    late = {"fused_at": "2026-05-01"}
    added = operators(tmp_path, ONE, {}, late)
    found = with_added(table.rename({13: 16}), added.checks)
    assert found["fusion_verdict"].to_list() == [IN_WINDOW, NO_WINDOW]
    assert with_added(table, operators(tmp_path / "b", None, {}).checks).equals(table)
