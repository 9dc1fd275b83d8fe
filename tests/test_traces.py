"""Curves of pressure over time: read, parted into phases, and compared with what the records state. All is invented."""

import time
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as how_often
from hypothesis import strategies as st

from asbuilt.errors import SettingsError
from asbuilt.judge.contradicted import judge_contradictions
from asbuilt.judge.phases import find_phases
from asbuilt.judge.traces import judge_traces
from asbuilt.read.traces import read_traces
from asbuilt.settings import TraceSource, load
from tests.curves import Made, as_csv, curves_for, samples, stretches, with_clock
from tests.making import make_route

NO_JUMPS = np.empty(0)
TRUE = Made()
PRESSURES = ("drag_pressure", "bead_pressure", "soak_pressure", "fusion_pressure")


def phases(table, jumps=NO_JUMPS):
    return find_phases(table[:, 0], table[:, 1] / 10, jumps=jumps)


def lengths(found):
    return {name: span.seconds for name, span in found.spans.items()}


def truth(made):
    return {"soak": made.soak_s, "removal": made.removal_s, "ramp": made.ramp_s, "cooling": 60 * made.cooling_min}


def assert_true(found, made, *, besides=()):
    for name, seconds in truth(made).items():
        if name not in besides:
            assert found.spans[name].seconds == pytest.approx(seconds, abs=found.spans[name].open_s), name


# --- the phases of a curve ----------------------------------------------------------------------------------------


def test_a_clean_curve_gives_its_phases_and_pressures():
    found = phases(samples(TRUE))
    assert_true(found, TRUE)
    assert (found.bead_pressure, found.fusion_pressure) == pytest.approx((3.6, 3.6), abs=0.01)
    assert (found.remarks, found.cause) == ((), "")


@given(
    st.builds(
        Made,
        bead_s=st.floats(15, 200),
        soak_s=st.floats(50, 900),
        removal_s=st.floats(5, 20),
        ramp_s=st.floats(4, 30),
        cooling_min=st.floats(6, 60),
        bead_bar=st.floats(30, 140),
        fuse_bar=st.floats(30, 140),
        before_s=st.floats(0, 60),
    ),
    st.floats(0.5, 2.0),
    st.floats(0, 0.9),
    st.integers(0, 99),
)
@how_often(max_examples=150, deadline=None)
def test_what_a_curve_shows_is_true_within_its_own_sampling(made, step, jitter, seed):
    made = replace(made, bead_bar=made.fuse_bar * 1.1, contact_bar=0.15 * made.fuse_bar)
    found = phases(samples(made, step=step, jitter=jitter, noise_bar=0.01 * made.fuse_bar, seed=seed))
    assert_true(found, made)
    assert found.fusion_pressure == pytest.approx(made.fuse_bar / 10, rel=0.02)
    assert found.bead_pressure == pytest.approx(made.bead_bar / 10, rel=0.02)


@given(st.integers(20, 2120))
@how_often(max_examples=150, deadline=None)
def test_a_curve_that_ends_early_shows_no_phase_that_is_not_whole(n):
    table = samples(TRUE, noise_bar=0.2)
    found = phases(table[:n])
    for name, seconds in lengths(found).items():
        if name in truth(TRUE):
            assert seconds == pytest.approx(truth(TRUE)[name], abs=found.spans[name].open_s + 0.5), name
    assert found.cause or found.remarks or "cooling" in found.spans


def test_a_curve_that_ends_under_pressure_says_how_long_that_lasted_at_least():
    found = phases(samples(replace(TRUE, after_s=0.0)))
    assert "cooling" not in found.spans
    assert found.remarks == ("the curve ends under pressure: cooling lasted 25.0 min or more",)
    assert_true(found, TRUE, besides=("cooling",))


def test_without_contact_pressure_only_the_sum_of_soak_and_removal_is_told():
    found = phases(samples(replace(TRUE, contact_bar=0.0), noise_bar=0.2))
    assert set(found.spans) == {"ramp", "without pressure", "cooling"}
    assert found.spans["without pressure"].seconds == pytest.approx(507, abs=found.spans["without pressure"].open_s)
    assert "cannot be told apart" in found.remarks[0]


def test_a_carriage_that_needs_pressure_to_move_does_not_end_the_removal():
    bumps = stretches((10, 0), (60, 36), (400, 5), (2, 0), (2, 6), (4, 0), (1, 10), (1, 20), (1, 30), (900, 36), (9, 0))
    assert lengths(phases(bumps))["removal"] == pytest.approx(8, abs=2)
    assert lengths(phases(bumps))["soak"] == pytest.approx(400, abs=2)


def test_a_check_of_the_alignment_under_pressure_is_no_bead_up():
    found = phases(stretches((5, 0), (12, 36), (40, 0), (60, 36), (400, 5), (6, 0), (5, 20), (900, 36), (9, 0)))
    assert lengths(found)["soak"] == pytest.approx(400, abs=2)
    assert lengths(found)["cooling"] == pytest.approx(900, abs=8)


def test_a_lower_second_pressure_belongs_to_the_cooling():
    found = phases(stretches((5, 0), (60, 36), (400, 3), (6, 0), (2, 20), (12, 36), (1500, 7), (9, 0)))
    assert lengths(found)["cooling"] == pytest.approx(1512, abs=6)
    assert "stood below 80% of the pressure of the fusing" in found.remarks[0]


def test_pressure_that_is_pumped_up_again_is_one_cooling():
    found = phases(stretches((5, 0), (60, 36), (400, 5), (6, 0), (5, 20), (60, 36), (20, 22), (800, 36), (9, 0)))
    assert lengths(found)["cooling"] == pytest.approx(880, abs=8)


def test_a_release_within_the_cooling_ends_it_and_is_said():
    found = phases(stretches((5, 0), (60, 36), (400, 5), (6, 0), (5, 20), (500, 36), (300, 0), (700, 36), (9, 0)))
    assert lengths(found)["cooling"] == pytest.approx(500, abs=8)
    assert "behind its release the pressure was applied once more" in found.remarks


def test_a_soak_under_full_pressure_is_said():
    found = phases(stretches((5, 0), (460, 36), (6, 0), (5, 20), (900, 36), (9, 0)))
    assert "soak" not in found.spans
    assert found.remarks[0].startswith("the pressure was let down for")
    assert found.remarks[0].endswith("s only: no soak without pressure is seen")
    assert lengths(found)["without pressure"] == pytest.approx(6, abs=3)


def test_a_pause_of_the_logger_counts_and_opens_only_the_edge_it_hides():
    table = samples(TRUE)
    inside = phases(table[(table[:, 0] < 900) | (table[:, 0] > 1080)])
    assert_true(inside, TRUE)
    hidden = phases(table[(table[:, 0] < 60) | (table[:, 0] > 100)])  # bead-up ends at 78 s
    assert hidden.spans["soak"].open_s > 40
    assert hidden.spans["cooling"].open_s < 3


def test_a_clock_that_was_moved_leaves_its_phase_without_a_length():
    found = phases(samples(TRUE), jumps=np.array([200]))
    assert "soak" not in found.spans
    assert "the clock was moved: without pressure and soak cannot be told" in found.remarks
    assert_true(found, TRUE, besides=("soak",))


@pytest.mark.parametrize(
    ("table", "why"),
    [
        (stretches((300, 0)), "the pressure hardly changes"),
        (stretches((20, 0), (60, 36), (300, 5)), "only 1 stretch under pressure is seen, and it ends without pressure"),
        (stretches((20, 0), (300, 36)), "only 1 stretch under pressure is seen, and the curve ends under pressure"),
    ],
)
def test_what_is_no_fusion_says_why(table, why):
    assert phases(table).cause.startswith(why)
    assert phases(table).spans == {}


def test_the_unit_and_the_zero_of_the_gauge_do_not_matter():
    table = samples(TRUE, noise_bar=0.1)
    one = lengths(find_phases(table[:, 0], table[:, 1], jumps=NO_JUMPS))
    other = lengths(find_phases(table[:, 0], 14.5 * (table[:, 1] + 0.4), jumps=NO_JUMPS))
    assert one == pytest.approx(other, abs=1e-6)


# --- files --------------------------------------------------------------------------------------------------------


def curve(route, content, name="J1.csv", asked=None, **toml):
    """Write a route with one curve and read it."""
    make_route(route, toml_changes={f"trace.{k}" if "." not in k else k: v for k, v in toml.items()})
    if content is not None:
        (route / name).parent.mkdir(parents=True, exist_ok=True)
        (route / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_traces([asked or name], load(route))[asked or name]


def test_a_file_is_read_by_its_headings(tmp_path):
    table = samples(TRUE)
    found = curve(tmp_path, as_csv(table, decimals=3))
    assert found.cause == ""
    assert found.pressure_mpa == pytest.approx(table[:, 1] / 10, abs=1e-3)
    assert found.temperature_c == pytest.approx(table[:, 2], abs=1e-2)


@pytest.mark.parametrize(
    "heading", ["Zeit,Druck", "# a logger\n# serial 7\nZeit,Druck", "Zeit,Druck\ns,psi", "Extra,Zeit,Druck"]
)
def test_columns_and_units_may_be_mapped(tmp_path, heading):
    table = samples(TRUE)
    table[:, 1] *= 14.5038
    if heading.startswith("Extra"):
        table = np.column_stack([np.arange(len(table)), table])
    columns = {"time": {"column": "Zeit", "unit": "s"}, "pressure": {"column": "Druck", "unit": "psi"}}
    lines = (
        heading
        + "\n"
        + as_csv(table, heading=heading.splitlines()[-1] if "s,psi" not in heading else "a,b").split("\n", 1)[1]
    )
    found = curve(tmp_path, lines, **{"trace.columns": columns})
    assert found.cause == ""
    assert found.pressure_mpa.max() == pytest.approx(3.6, abs=0.01)


def test_semicolons_and_decimal_commas_in_another_encoding(tmp_path):
    text = as_csv(samples(TRUE), decimals=2).replace(",", ";").replace(".", ",")
    found = curve(tmp_path, text.encode("utf-16"))
    assert found.cause == ""
    assert found.pressure_mpa.max() == pytest.approx(3.6, abs=0.01)


@pytest.mark.parametrize("start", ["2026-03-01 10:00", "2026-03-01 23:50"])
def test_a_time_of_day_needs_no_unit_and_may_pass_midnight(tmp_path, start):
    found = curve(tmp_path, with_clock(samples(TRUE), start).to_csv(index=False))
    assert (found.cause, len(found.jumps)) == ("", 0)
    assert found.time_s[-1] == pytest.approx(samples(TRUE)[-1, 0], abs=1.5)


@pytest.mark.parametrize("by", [3600, -3600, -40])
def test_a_clock_that_is_set_anew_is_found(tmp_path, by):
    table = samples(TRUE)
    table[800:, 0] += by
    found = curve(tmp_path, with_clock(table, "2026-03-01 10:00").to_csv(index=False))
    assert found.jumps.tolist() == [800]
    judged = find_phases(found.time_s, found.pressure_mpa, jumps=found.jumps)
    assert "cooling" not in judged.spans
    assert_true(judged, TRUE, besides=("cooling",))


def test_afternoon_in_twelve_hours(tmp_path):
    text = with_clock(samples(TRUE), "2026-03-01 12:50")
    text["Clock"] = (pd.Timestamp("2026-03-01 12:50") + pd.to_timedelta(samples(TRUE)[:, 0], unit="s")).strftime(
        "%m/%d/%Y %I:%M:%S %p"
    )
    found = curve(tmp_path, text.to_csv(index=False))
    assert (found.cause, len(found.jumps)) == ("", 0)
    assert found.time_s[-1] == pytest.approx(samples(TRUE)[-1, 0], abs=1.5)


GOOD = as_csv(samples(TRUE))


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (None, "there is no file 'J1.csv' in the route folder"),
        ("", "no row of numbers stands in its first 60 rows"),
        ("1,2\n" * 40, "no heading stands above the numbers"),
        ("Time (s),Pressure (bar)\n" + "1,2\n" * 5, "only 5 samples can be read, and 20 are the least"),
        (GOOD.replace("Pressure (bar)", "Pressure"), "it has no unit"),
        (GOOD.replace("Pressure (bar)", "Force (bar)"), "no column holds the pressure"),
        (GOOD.replace("Time (s)", "Time"), "no column holds the time"),
        ("Time (s);Pressure (bar)\n" + "".join(f"{i};{i},123\n" for i in range(100, 200)), "is not clear"),
        ("Time (s),Pressure (bar)\n" + "1,2\n3,x\n" * 100, "100 of 200 samples cannot be read"),
        ("Time (s),Pressure (bar)\n" + "9,2\n3,4\n" * 100, "its times go back or leap by whole hours 100 times"),
        ("Time,Pressure (bar)\n" + "".join(f"10:{i:02d},3\n" for i in range(60)), "no clock with hours, minutes and"),
        (b"\x00\x01" * 500, "not text"),
    ],
)
def test_a_file_that_is_no_curve_says_why(tmp_path, content, why):
    found = curve(tmp_path, content)
    assert why in found.cause
    assert len(found.time_s) == 0


@pytest.mark.parametrize("name", ["../J1.csv", "/etc/hostname", "c:\\J1.csv", "photo.jpg", "17"])
def test_a_name_that_is_no_curve_of_the_route_is_not_opened(tmp_path, name):
    (tmp_path / "photo.jpg").write_bytes(b"x")
    found = curve(tmp_path, None, asked=name)
    assert found.cause.startswith(("there is no file", "a curve is read from .csv"))


@pytest.mark.parametrize("asked", ["J1.csv", "J1", "curves/J1.csv", "curves\\J1.csv"])
def test_the_folder_and_the_ending_may_be_left_out(tmp_path, asked):
    (tmp_path / "curves").mkdir()
    assert curve(tmp_path, GOOD, "curves/J1.csv", asked=asked, folder="curves").cause == ""


def test_the_settings_refuse_what_means_nothing(tmp_path):
    changes = {"trace.folder": "curves", "trace.time_within": "-1 s", "trace.columns": {"presure": "P"}}
    with pytest.raises(SettingsError) as caught:
        load(make_route(tmp_path, toml_changes=changes))
    told = str(caught.value)
    assert "trace.folder: there is no folder 'curves'" in told
    assert "trace.time_within: found '-1 s'" in told
    assert "columns.presure: no field has this name; the nearest known is 'pressure'" in told
    with pytest.raises(SettingsError, match="without timezone"):
        load(make_route(tmp_path, toml_changes={"trace.timezone": "UTC"}))
    with pytest.raises(SettingsError, match="the nearest known is 'folder'"):
        load(make_route(tmp_path, toml_changes={"trace.foldr": "x"}))


# --- against the records ------------------------------------------------------------------------------------------

STATED = {
    "soak_time_s": 500.0, "removal_time_s": 7.0, "ramp_time_s": 14.0, "cooling_time_min": 25.0,
    "bead_pressure_mpa": 3.6, "fusion_pressure_mpa": 3.6, "heater_temperature_c": 224.0,
}  # fmt: skip


def records(n, **changes):
    table = pd.DataFrame([{"joint": f"J{i}", "trace": f"J{i}.csv", "source_file": "a.csv"} | STATED for i in range(n)])
    table = table.assign(method=None, **{f"{name}_kind": "gauge" for name in PRESSURES})
    return table.assign(**changes)


def judged(folder, rows, made=TRUE, *, source=None, values=None, **how):
    make_route(folder)
    for i, name in enumerate(rows["trace"].dropna()):
        (folder / name).write_text(as_csv(samples(made, noise_bar=0.1, seed=i, **how)))
    empty = np.full(len(rows), np.nan)
    values = values or dict.fromkeys(("wall_mm", "outside_diameter_mm", "drag_pressure_mpa", "piston_area_mm2"), empty)
    return judge_traces(rows, read_traces(rows["trace"], load(folder)), source=source or TraceSource(), values=values)


def test_records_that_agree_with_their_curves_have_no_finding(tmp_path):
    rows = records(6).set_axis(range(10, 16))
    found = judged(tmp_path, rows)
    assert found.findings == ()
    assert list(found.rows.index) == list(rows.index)
    assert list(found.rows)[:6] == [
        "trace_soak_time_s", "trace_removal_time_s", "trace_ramp_time_s", "trace_cooling_time_min",
        "trace_bead_pressure_mpa", "trace_fusion_pressure_mpa",
    ]  # fmt: skip
    assert found.rows["trace_cooling_time_min"].to_list() == pytest.approx([25.0] * 6, abs=0.1)


def test_a_disagreement_is_said_with_its_figures(tmp_path):
    rows = records(4)
    rows.loc[2, ["soak_time_s", "cooling_time_min"]] = [560.0, 31.0]
    soak, cooling = judged(tmp_path, rows).findings
    assert soak.statement.startswith("a.csv: the soak time of 1 of 4 joints with a curve is not that of the curve")
    assert "J2 stated 560 s, curve 500 s" in soak.statement
    assert "J2 stated 31.0 min, curve 25.0 min" in cooling.statement
    assert (soak.kind, soak.rows.tolist(), soak.proposal) == ("trace", [2], "")


WINDOWS = {"soak_time": (480.0, 600.0), "cooling_time": (20.0, np.inf), "fusion_pressure": (0.15, 0.19)}


def contradicted(folder, rows):
    """Judge the curves of `rows`, whose windows are WINDOWS; the check's fusion pressure is that at the melt face."""
    stated = {"soak_time": rows["soak_time_s"], "cooling_time": rows["cooling_time_min"], "fusion_pressure": 0.17}
    checks = [
        pd.DataFrame({"row": rows.index, "check": name, "value": stated[name], "low": low, "high": high})
        for name, (low, high) in WINDOWS.items()
    ]
    return judge_contradictions(rows, judged(folder, rows), pd.concat(checks)).checks


def test_a_curve_that_decides_a_window_otherwise_leaves_the_joint_untold(tmp_path):
    rows = records(5)  # the curves show a soak of 500 s and a cooling of 25 min
    rows.loc[1, "soak_time_s"] = 610.0  # out of window as stated, in by the curve
    rows.loc[2, "soak_time_s"] = 560.0  # differs, and is in window both ways
    rows.loc[3, "cooling_time_min"] = 18.0
    rows.loc[4, "fusion_pressure_mpa"] = 4.4  # gauge: the check has the pressure at the melt face, which decides
    checks = contradicted(tmp_path, rows)
    assert checks["verdict"].to_list() == ["in window", "cannot tell", "in window", "cannot tell", "in window"]
    assert checks["required"].all()
    assert checks["cause"].iloc[1] == (
        "the curve shows a soak time of 500 s, the record states 610 s; window from 480.0 to 600.0 s"
    )
    assert checks["cause"].iloc[3].endswith("the record states 18.0 min; window from 20.0 min")


def test_a_joint_without_a_curve_has_no_check_of_it(tmp_path):
    assert len(contradicted(tmp_path, records(2).assign(trace=None))) == 0
    some = records(2)
    some.loc[0, "trace"] = None
    assert contradicted(tmp_path, some)["row"].to_list() == [1]


def test_what_the_project_allows_and_the_sampling_leaves_open_is_no_disagreement(tmp_path):
    rows = records(2, soak_time_s=510.0)
    assert len(judged(tmp_path, rows).findings) == 1
    assert judged(tmp_path, rows, source=TraceSource(time_within="12 s")).findings == ()
    assert TraceSource(time_within="12 s").time_within == timedelta(seconds=12)
    assert judged(tmp_path, rows, step=4.0).findings == ()


def test_pressures_in_another_unit_are_asked_about(tmp_path):
    (bead, fusing) = judged(tmp_path, records(4, fusion_pressure_mpa=0.36, bead_pressure_mpa=0.248)).findings
    assert "All differ by a factor of about 10: are bar and MPa mixed up?" in fusing.statement
    assert "All differ by a factor of about 14.5: are psi and bar mixed up?" in bead.statement


def test_what_is_stated_at_the_melt_face_is_compared_there(tmp_path):
    """Gauge 3.6 MPa, drag 0.6 MPa, 4000 mm2 piston, 630 x 37.3 mm: (3.6 - 0.6) x 4000 / 69453 mm2 = 0.1728 MPa.

    The area is the one of facts of the trade for DN 630 SDR 17 (pi x (630 - 37.3) x 37.3 = 69 453 mm2; computed).
    """
    size = {"outside_diameter_mm": 630.0, "wall_mm": 37.3, "drag_pressure_mpa": 0.6, "piston_area_mm2": 4000.0}
    values = {name: np.full(2, value) for name, value in size.items()}
    kinds = {"fusion_pressure_kind": "interfacial", "bead_pressure_kind": "interfacial"}
    rows = records(2, fusion_pressure_mpa=0.1728, bead_pressure_mpa=0.14, **kinds)
    (only,) = judged(tmp_path, rows, values=values).findings
    assert "the bead pressure of 2 of 2" in only.statement
    assert "stated 0.140 MPa, curve 0.173 MPa" in only.statement


def at_face(folder, stated, gauge_bar, **size):
    """Judge two records that state their fusing pressure at the melt face."""
    values = {name: np.full(2, value) for name, value in size.items()}
    kinds = {"fusion_pressure_kind": "interfacial", "bead_pressure_kind": "interfacial"}
    made = replace(TRUE, fuse_bar=gauge_bar, bead_bar=gauge_bar, contact_bar=2.0)
    rows = records(2, fusion_pressure_mpa=stated, bead_pressure_mpa=np.nan, **kinds)
    return judged(folder, rows, made, source=TraceSource(pressure_within=0.01), values=values)


@pytest.mark.parametrize(("psi", "agrees"), [(75.1, True), (77.0, False), (82.4, False)])
def test_a_worked_example_of_gauge_pressure(tmp_path, psi, agrees):
    """OD 8.625 in, DR 11, piston 4.71 in2, drag 30 psi: 338 psi gauge is 75 psi interfacial, 82.4 without drag.

    Worked example of a trade handbook (unnamed), four copies read: second-hand; back-calculated 75.11 psi (computed).
    """
    inch, to_mpa = 25.4, 0.00689476
    size = {"outside_diameter_mm": 8.625 * inch, "wall_mm": 8.625 / 11 * inch}
    size |= {"drag_pressure_mpa": 30 * to_mpa, "piston_area_mm2": 4.71 * inch**2}
    found = at_face(tmp_path, psi * to_mpa, 338 * to_mpa * 10, **size)
    assert (found.findings == ()) == agrees


def test_a_worked_example_of_times_and_pressure(tmp_path):
    """D 400 SDR 11: wall 36.3 mm, drag 7 bar, set 51 bar, soak 363 s, changeover 16 s, build-up 19 s, cooling 44 min.

    Worked example of a trade handbook (unnamed) on DVS 2207-1: second-hand; its piston area of 1414 mm2 is computed.
    """
    made = Made(soak_s=363, removal_s=16, ramp_s=19, cooling_min=44, fuse_bar=51, bead_bar=51, contact_bar=6)
    times = {"soak_time_s": 363.0, "removal_time_s": 16.0, "ramp_time_s": 19.0, "cooling_time_min": 44.0}
    kinds = {"fusion_pressure_kind": "interfacial", "bead_pressure_mpa": 5.1}
    size = {"outside_diameter_mm": 400.0, "wall_mm": 36.3, "drag_pressure_mpa": 0.7, "piston_area_mm2": 1414.0}
    values = {name: np.full(2, value) for name, value in size.items()}
    found = judged(tmp_path, records(2, fusion_pressure_mpa=0.15, **times, **kinds), made, values=values, step=2.0)
    assert found.findings == ()
    assert found.rows["trace_soak_time_s"].to_list() == pytest.approx([363.0] * 2, abs=4)


def test_soak_and_removal_are_compared_together_where_the_curve_does_not_part_them(tmp_path):
    made = replace(TRUE, contact_bar=0.0)
    assert judged(tmp_path, records(2), made).findings == ()
    (only,) = judged(tmp_path, records(2, soak_time_s=440.0), made).findings
    assert "soak and heater removal together" in only.statement
    assert "J0 stated 447 s, curve 507 s" in only.statement


def test_a_plate_that_is_stated_hotter_than_its_curve_is_said(tmp_path):
    (only,) = judged(tmp_path, records(3, heater_temperature_c=235.0)).findings
    assert "heater temperature of 3 of 3" in only.statement
    assert "stated 235.0 °C, curve 224.0 °C" in only.statement


def test_a_curve_that_cannot_be_read_is_one_finding_a_source(tmp_path):
    rows = records(8)
    make_route(tmp_path)
    empty = dict.fromkeys(
        ("wall_mm", "outside_diameter_mm", "drag_pressure_mpa", "piston_area_mm2"), np.full(8, np.nan)
    )
    found = judge_traces(rows, read_traces(rows["trace"], load(tmp_path)), source=TraceSource(), values=empty)
    (only,) = found.findings
    assert only.statement.startswith("a.csv: 8 curves that records name show no fusion: J0: there is no file 'J0.csv'")
    assert "; and 3 more" in only.statement
    assert found.rows["trace_cause"].str.startswith("there is no file").all()


def test_records_without_a_curve_and_joints_that_are_no_butt_fusion(tmp_path):
    rows = records(3, trace=["J0.csv", None, "J2.csv"], method=[None, None, "electrofusion"])
    found = judged(tmp_path, rows)
    assert found.findings == ()
    assert found.rows["trace_cause"].to_list() == ["", "", "not butt fusion"]
    assert found.rows["trace_soak_time_s"].notna().to_list() == [True, False, False]


def test_no_record_at_all_and_none_with_a_curve(tmp_path):
    assert len(judged(tmp_path, records(1).iloc[:0]).rows) == 0
    assert judged(tmp_path, records(2, trace=None)).rows["trace_cause"].to_list() == ["", ""]


def test_the_maker_of_a_set_gives_curves_that_agree_with_their_joints(tmp_path):
    values = {"soak_time": 500.0, "removal_time": 6.0, "ramp_time": 14.0, "cooling_time": 28.0}
    made = pd.DataFrame([{"joint": f"A{i}", **values, "gauge_pressure": 3.56, "drag_pressure": 0.7} for i in range(3)])
    made.loc[2, "soak_time"] = np.nan
    files = curves_for(made)
    assert list(files) == ["A0.csv", "A1.csv"]
    assert files == curves_for(made)
    found = curve(tmp_path, files["A0.csv"])
    told = find_phases(found.time_s, found.pressure_mpa, jumps=found.jumps)
    assert lengths(told)["soak"] == pytest.approx(500, abs=told.spans["soak"].open_s)


def test_a_thousand_curves_take_seconds(tmp_path):
    """The limit is wide, for a machine that is shared; the report names what was measured."""
    make_route(tmp_path)
    text = as_csv(samples(TRUE, step=4.2))
    rows = records(1000)
    for name in rows["trace"]:
        (tmp_path / name).write_text(text)
    start = time.perf_counter()
    empty = np.full(1000, np.nan)
    values = dict.fromkeys(("wall_mm", "outside_diameter_mm", "drag_pressure_mpa", "piston_area_mm2"), empty)
    found = judge_traces(rows, read_traces(rows["trace"], load(tmp_path)), source=TraceSource(), values=values)
    assert found.rows["trace_fusion_pressure_mpa"].notna().all()
    assert time.perf_counter() - start < 30


def test_no_curve_is_read_from_outside_the_route_folder(tmp_path):
    route, outside = tmp_path / "route", tmp_path / "outside.csv"
    route.mkdir()
    outside.write_text("Time (s),Pressure (bar)\n0,1\n1,1\n")
    make_route(route)
    (route / "J1.csv").symlink_to(outside)
    found = read_traces(["J1.csv"], load(route))["J1.csv"]
    assert found.cause == "there is no file 'J1.csv' in the route folder"


def test_a_name_that_no_file_system_takes_is_no_file(tmp_path):
    make_route(tmp_path)
    assert "there is no file" in read_traces(["x" * 300], load(tmp_path))["x" * 300].cause
