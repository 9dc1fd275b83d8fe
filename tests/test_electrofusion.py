"""Electrofused joints against their own nominal values; what is recorded and not judged. All data is invented."""

import re

import numpy as np
import pandas as pd
import pytest

from asbuilt.fields import FIELDS, NOT_BUTT, stored_as
from asbuilt.judge.electrofusion import CHECKS, judge_electrofusion, with_electrofusion
from asbuilt.judge.fittings import how_joined, said_of_unknown
from tests.making import COLUMNS, csv_of, make_route, read_route

# 24 digits: places 12-13 say 40 V, places 19-21 say 180 s (ISO 13950 as a trade page restates it: second-hand)
CODE = "12345678" + "110" + "40" + "00" + "125" + "180" + "000"
GOOD = {
    "method": "electrofusion", "fitting_code": CODE, "voltage_v": 39.8, "nominal_time_s": 180.0,
    "actual_time_s": 180.0, "end_state": "OK", "cooling_time_min": 15.0, "nominal_cooling_min": 12.0,
}  # fmt: skip
ALL = frozenset({*CHECKS, "nominal_time", "nominal_cooling"})


def rows(*changes):
    table = pd.DataFrame([{"joint": f"E{i}", "source_file": "a.csv"} | GOOD | c for i, c in enumerate(changes)])
    numbers = ["voltage_v", "nominal_time_s", "actual_time_s", "cooling_time_min", "nominal_cooling_min"]
    return table.astype(dict.fromkeys(numbers, float))


def judged(*changes, recorded=ALL, required=None):
    return judge_electrofusion(rows(*changes), recorded=recorded, required=required)


def check(found, name, row=0):
    return found.checks[(found.checks["check"] == name) & (found.checks["row"] == row)].iloc[0]


def test_a_good_record_is_in_window_by_its_own_nominal_values():
    found = judged({})
    assert found.joints.loc[0, ["fusion_verdict", "recorded_n", "procedure_n"]].to_list() == ["in window", 5, 5]
    assert found.joints.loc[0, "reasons"] == ()
    assert set(found.checks["verdict"]) == {"in window"}
    assert (found.findings, found.statements) == ((), ())


def test_each_check_says_its_source_and_that_a_tolerance_is_ours():
    found = judged({})
    time = check(found, "actual_time")
    assert (time["low"], time["high"], time["unit"], time["status"]) == (171.0, 189.0, "s", "the writers' judgement")
    assert time["source"] == "the record's own nominal fusion time, ±5% and at least ±1 s"
    assert check(found, "fitting_code")["status"] == "second-hand"
    assert time["margin"] == 9.0
    assert set(found.checks["procedure"]) == {"electrofusion, by the record's own nominal values"}
    assert (found.checks["source"] != "").all()


@pytest.mark.parametrize(
    ("change", "verdict", "reason"),
    [
        ({"actual_time_s": 171.0}, "in window", None),
        ({"actual_time_s": 170.9}, "out of window", "fusion time 170.9 s of a nominal 180 s: 9.1 s short"),
        (
            {"actual_time_s": 92.0},
            "out of window",
            "92 s of a nominal 180 s: 88 s short (±5 % allowed, this tool's own tol",
        ),
        ({"actual_time_s": 200.0}, "out of window", "fusion time 200 s of a nominal 180 s: 20 s too long"),
        ({"actual_time_s": np.nan}, "not recorded", "actual time was not recorded"),
        ({"nominal_time_s": np.nan}, "cannot tell", "the nominal fusion time was not recorded"),
        ({"actual_time_s": 8.5, "nominal_time_s": 8.0, "fitting_code": CODE[:18] + "008000"}, "in window", None),
        ({"cooling_time_min": 11.0}, "out of window", "cooling time 11.0 min, below 12.0 min by 1.0 min"),
        ({"nominal_cooling_min": np.nan}, "cannot tell", "the cooling time that the fitting asks for was not recorded"),
        ({"voltage_v": 37.9}, "out of window", "voltage 37.9 V, below 38.0 V by 0.1 V"),
        ({"voltage_v": 49.0, "fitting_code": None}, "out of window", "voltage 49.0 V, above 48.0 V by 1.0 V"),
        ({"voltage_v": 39.0, "fitting_code": None}, "in window", None),
        ({"voltage_v": np.nan}, "not recorded", "voltage was not recorded"),
        ({"end_state": "Aborted"}, "out of window", "end state 'Aborted': the fusion did not run to its end"),
        ({"end_state": "E7"}, "cannot tell", "end state 'E7', a word or code that is not known"),
        ({"end_state": None}, "not recorded", "end state was not recorded"),
        ({"fitting_code": CODE[:-1]}, "cannot tell", "23 digits, a fusion code has 24"),
        ({"fitting_code": CODE + "00"}, "cannot tell", "26 digits: as a traceability code has them (from memory)"),
        ({"fitting_code": "COUPLER 110"}, "cannot tell", "not digits only"),
    ],
)
def test_what_is_wrong_is_said_with_its_figures(change, verdict, reason):
    joint = judged(change).joints.loc[0]
    assert joint["fusion_verdict"] == verdict
    assert any(reason in sentence for sentence in joint["reasons"]) if reason else joint["reasons"] == ()


def test_a_time_that_is_out_by_the_least_tolerance_says_that_one():
    short = {"actual_time_s": 6.5, "nominal_time_s": 8.0, "fitting_code": None}
    assert judged(short).joints.loc[0, "reasons"] == (
        "fusion time 6.5 s of a nominal 8 s: 1.5 s short (±1 s allowed, this tool's own tolerance)",
    )


def test_a_sound_coupler_without_a_fitting_code_passes_and_the_missing_code_stays_a_check():
    found = judged({"fitting_code": None}, {"fitting_code": " "}, {})
    assert found.joints["fusion_verdict"].to_list() == ["in window"] * 3
    assert found.joints["reasons"].to_list() == [()] * 3
    needed = found.checks.set_index(["check", "row"]).sort_index()
    assert needed.loc["fitting_code", "verdict"].to_list() == ["not recorded", "not recorded", "in window"]
    assert needed.loc["voltage", "verdict"].to_list() == ["cannot tell", "cannot tell", "in window"]
    for name in ("fitting_code", "voltage"):
        assert needed.loc[name, "required"].to_list() == [False, False, True]
    assert needed.loc["actual_time", "required"].to_list() == [True] * 3


def test_a_code_that_cannot_be_read_is_a_stated_problem():
    found = judged({"fitting_code": CODE[:-1]})
    assert found.joints.loc[0, "reasons"] == (
        "voltage cannot be judged: no nominal voltage is known: no fitting code of 24 digits",
        "fitting code cannot be judged: 23 digits, a fusion code has 24",
    )


def test_a_code_that_the_project_asks_for_is_required_of_every_coupler():
    joint = judged({"fitting_code": None}, required=frozenset({"fitting_code"})).joints.loc[0]
    assert (joint["fusion_verdict"], joint["reasons"]) == ("not recorded", ("fitting code was not recorded",))


def test_what_was_recorded_as_the_end_is_said_where_it_passes_and_is_no_reason():
    found = judged({"end_state": "ok"})
    assert check(found, "end_state")["cause"] == "end state 'ok'"
    assert found.joints.loc[0, "reasons"] == ()


@pytest.mark.parametrize(
    ("words", "verdict"),
    [
        (("ok", "Completed", "no error", "Fusion OK", "cycle complete", "good"), "in window"),
        (("aborted", "Power loss", "not ok", "incomplete", "error 12", "Open circuit"), "out of window"),
        (("cycle not complete", "NOT COMPLETED", "fusion interrupted"), "out of window"),
        (("17", "see remark", "reset"), "cannot tell"),
    ],
)  # fmt: skip
def test_words_of_the_end(words, verdict):
    found = judged(*({"end_state": word} for word in words))
    assert found.checks.loc[found.checks["check"] == "end_state", "verdict"].to_list() == [verdict] * len(words)


def test_a_code_may_be_written_in_groups():
    assert judged({"fitting_code": " ".join(CODE[i : i + 4] for i in range(0, 24, 4))}).joints.loc[
        0, "fusion_verdict"
    ] == ("in window")


@pytest.mark.parametrize("method", ["EF", "Coupler", "Electrofusion", "electro-fusion coupler", "electrofusion socket"])
def test_electrofusion_is_judged(method):
    assert how_joined(rows({"method": method})).to_list() == ["electrofusion"]


@pytest.mark.parametrize(
    ("method", "how"),
    [
        ("electrofusion saddle", "saddle"), ("tapping tee", "saddle"), ("Socket fusion", "socket"),
        ("Compression fitting", "mechanical"),
        ("Mechanical coupling", "mechanical"), ("flanged", "flange"), (None, "butt"),
        ("butt (not electrofusion)", "butt"), ("left", "butt"),
    ],
)  # fmt: skip
def test_the_others_are_told_apart(method, how):
    assert how_joined(rows({"method": method})).to_list() == [how]


def test_a_method_that_is_not_known_is_judged_as_butt_fusion_and_said():
    table = rows(*({"method": word} for word in ("Mirror", "BF", "hot gas", "hot gas", None, "")))
    (said,) = said_of_unknown(table)
    assert said.startswith("'hot gas' is no method that this tool knows")
    assert said.endswith("2 joints judged as butt fusion.")
    assert set(how_joined(table)) == {"butt"}


@pytest.mark.parametrize(
    "word", ["flange", "mechanical", "compression", "saddle", "tapping", "socket", "electro", "EF", ""]
)
def test_what_is_judged_as_butt_fusion_is_the_same_everywhere(word):
    assert (how_joined(rows({"method": word})) == "butt").to_list() == [not re.search(NOT_BUTT, word, re.IGNORECASE)]


def test_saddles_sockets_and_mechanical_joints_are_recorded_not_judged_and_said_once():
    methods = ("electrofusion saddle", "socket", "mechanical", "mechanical", "electrofusion", None)
    found = judged(*({"method": m, "actual_time_s": 5.0} for m in methods))
    assert found.joints["fusion_verdict"].to_list() == ["no window"] * 4 + ["out of window"]
    assert found.joints.loc[0, "reasons"] == ("saddle: recorded, not judged",)
    assert set(found.checks["row"]) == {4}
    assert found.statements == (
        "4 joints are recorded and not judged, as no window applies to them: 2 mechanical, 1 saddle, 1 socket.",
    )


def test_what_has_no_column_in_any_source_is_not_required():
    few = frozenset({"actual_time", "nominal_time"})
    bare = {"fitting_code": None, "voltage_v": np.nan, "end_state": None, "cooling_time_min": np.nan}
    found = judged(bare, recorded=few)
    assert found.joints.loc[0, ["fusion_verdict", "recorded_n", "procedure_n"]].to_list() == ["in window", 1, 5]
    assert judged(bare, recorded=frozenset()).joints.loc[0, "fusion_verdict"] == "not recorded"
    bad = judged(bare | {"actual_time_s": 20.0}, recorded=frozenset())
    assert bad.joints.loc[0, "fusion_verdict"] == "out of window"


def test_the_project_may_say_what_is_required():
    asked = frozenset({"end_state", "soak_time"})
    assert judged({"nominal_time_s": np.nan}, required=asked).joints.loc[0, "fusion_verdict"] == "in window"
    assert judged({"end_state": None}, required=asked).joints.loc[0, "fusion_verdict"] == "not recorded"
    assert judged({"end_state": None}, required=frozenset({"soak_time"})).joints.loc[0, "fusion_verdict"] == (
        "not recorded"
    )


def test_a_code_that_asks_for_another_time_is_one_finding_a_file():
    found = judged({}, {"nominal_time_s": 240.0, "actual_time_s": 240.0}, {"fitting_code": CODE[:5]})
    (only,) = found.findings
    assert "such as E1: 180 s in places 19-21 of the code (ISO 13950, second-hand), 240 s stated" in only.statement
    assert only.rows.tolist() == [1]


def test_checks_take_the_place_of_no_window():
    names = ["row", "check", "value", "low", "high", "unit", "required", "verdict", "cause", "source", "status", "more"]
    others = pd.DataFrame(
        [[i, "soak_time", np.nan, 1.0, 2.0, "s", True, "no window", "", "p", "read", "x"] for i in (0, 1)]
    )
    joints = pd.DataFrame(
        {"fusion_verdict": "no window", "recorded_n": 0, "procedure_n": 9, "reasons": [("a",), ("b",)]}
    )
    table = rows({"method": None}, {})
    own = judge_electrofusion(table, recorded=ALL)
    checks, told = with_electrofusion(others.set_axis(names, axis=1), joints, own)
    assert checks["row"].to_list() == [0, 1, 1, 1, 1, 1]
    assert list(checks) == names
    assert told["fusion_verdict"].to_list() == ["no window", "in window"]
    assert joints["fusion_verdict"].to_list() == ["no window"] * 2


def test_a_route_without_electrofusion_is_left_as_it_is():
    own = judge_electrofusion(rows({"method": None}), recorded=ALL)
    assert (len(own.checks), len(own.joints), own.findings, own.statements) == (0, 0, (), ())
    assert list(own.checks)[:2] == ["row", "check"]


def test_the_fields_are_read_by_headings_of_the_trade(tmp_path):
    heading = "Joint,Finished,East,North,Method,Fitting barcode,Voltage (V),Nominal fusion time (s)"
    heading += ",Actual fusion time (min),End status,Nominal cooling time (min)"
    row = f"J1,2026-03-01 10:00,500012,5250000,Electrofusion,{CODE},39.5,180,3,OK,12"
    columns = {k: v for k, v in COLUMNS.items() if k != "heater_temperature"}
    found = read_route(
        make_route(tmp_path, records=csv_of(row, heading=heading), toml_changes={"records.columns": columns})
    )
    first = found.rows.iloc[0]
    assert first["fitting_code"] == CODE
    assert first[["voltage_v", "nominal_time_s", "actual_time_s", "nominal_cooling_min"]].to_list() == [
        39.5,
        180,
        180,
        12,
    ]
    assert judge_electrofusion(found.rows, recorded=found.recorded).joints.loc[0, "fusion_verdict"] == "in window"
    assert {stored_as(n) for n in ("fitting_code", "end_state")} <= set(found.rows)
    assert FIELDS["nominal_time"].unit == "s"
