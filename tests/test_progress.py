"""Progress: what was done on each day, by length and once; stages; days of which there is nothing. Data is invented.

The outside checks are those of `asbuilt.progress.formulas`, whose docstrings name their sources.
"""

import json

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt import cli, look
from asbuilt.progress.calendar import day_of
from asbuilt.progress.chart import chart
from asbuilt.progress.days import cycle_minutes, daily, quiet
from asbuilt.progress.figures import as_data, figures, figures_of
from asbuilt.progress.formulas import percent_complete
from asbuilt.progress.planned import plan_of
from asbuilt.progress.rows import WIDTH, columns, folded
from asbuilt.progress.said import day_table, plan_tables, said
from asbuilt.progress.spans import common, first_days, length, union, within
from asbuilt.progress.stages import expected, on_the_bank, stages
from tests.conftest import SALTREACH
from tests.work_record import day, gap, joint, plan, record, work

# ---- union of stretches ----------------------------------------------------------------------------------------------

WHOLE = st.integers(0, 60)
PAIRS = st.lists(st.tuples(WHOLE, WHOLE), max_size=12)


def ends(pairs):
    return np.array([p[0] for p in pairs], dtype=float), np.array([p[1] for p in pairs], dtype=float)


def metres(pairs):
    """The unit metres that any of the stretches holds, by brute force."""
    return {m for low, high in pairs for m in range(low, high)}


@given(PAIRS)
def test_a_union_holds_each_metre_once(pairs):
    spans = union(*ends(pairs))
    assert length(spans) == len(metres(pairs))
    assert (spans[1:, 0] > spans[:-1, 1]).all()
    assert {m for low, high in spans for m in range(int(low), int(high))} == metres(pairs)


@given(PAIRS, st.permutations(range(12)))
def test_a_union_does_not_depend_on_order_or_on_saying_it_twice(pairs, order):
    mixed = [pairs[i] for i in order if i < len(pairs)] + pairs
    assert union(*ends(mixed)).tolist() == union(*ends(pairs)).tolist()


@given(PAIRS, PAIRS)
def test_what_lies_within_is_counted_by_brute_force_the_same(pairs, others):
    pairs = [(min(p), max(p)) for p in pairs]
    found = within(*ends(pairs), union(*ends(others)))
    assert found.tolist() == [len(set(range(low, high)) & metres(others)) for low, high in pairs]


@given(PAIRS, PAIRS)
def test_what_two_unions_have_in_common_is_by_brute_force_the_same(pairs, others):
    found = common(union(*ends(pairs)), union(*ends(others)))
    assert metres([(int(low), int(high)) for low, high in found]) == metres(pairs) & metres(others)
    assert length(found) == len(metres(pairs) & metres(others))


@given(st.lists(st.tuples(WHOLE, WHOLE, st.integers(1, 5)).filter(lambda p: p[0] < p[1]), min_size=1, max_size=10))
def test_each_part_has_the_first_day_of_the_stretches_over_it(stretches):
    low, high = ends(stretches)
    edges, days = first_days(low, high, np.array([s[2] for s in stretches], dtype=float))
    for m in range(int(edges[0]), int(edges[-1])):
        over = [d for a, b, d in stretches if a <= m < b]
        assert days[np.searchsorted(edges, m, side="right") - 1] == (min(over) if over else np.inf)


# ---- the daily table -------------------------------------------------------------------------------------------------

MON, TUE, WED = "2026-03-02", "2026-03-03", "2026-03-04"
FOUR = [
    joint("J1", 12, f"{MON}T08:00"),
    joint("J2", 24, f"{MON}T09:00"),
    joint("J3", 36, f"{TUE}T08:00"),
    joint("J4", 48, f"{WED}T08:00", crew="b"),
]


def by_day(found, evening=WED, schedule=None):
    table = daily(work(found, evening, schedule))
    return {(str(day_of(r.day)), r.crew): r for r in table.itertuples(index=False)}


def test_a_stretch_counts_on_the_evening_on_which_both_its_joints_were_made():
    table = by_day(record(FOUR))
    assert {key: row.new_m for key, row in table.items()} == {(MON, "a"): 24.0, (TUE, "a"): 12.0, (WED, "b"): 84.0}
    assert [row.joints for row in table.values()] == [2, 1, 1]


def test_an_evening_knows_nothing_of_the_days_after_it():
    assert list(by_day(record(FOUR), MON)) == [(MON, "a")]
    assert stages(work(record(FOUR), TUE)).set_index("stage").loc["fused", "length_m"] == 36.0


def test_what_lies_in_a_gap_is_not_covered_and_of_a_bracket_only_its_share():
    assert by_day(record(FOUR, gaps=[gap(24, 36)]))[TUE, "a"].new_m == 0.0
    two = record(
        [joint("J1", 12, f"{MON}T08:00"), joint("J2", 24, f"{MON}T08:00")], gaps=[gap(12, 24, missing=1, within=2)]
    )
    assert by_day(two)[MON, "a"].new_m == pytest.approx(12 + 12 * (1 - 2 / 4) + 96)  # 2 pipes without a record, 2 with


def test_a_joint_made_again_covers_nothing_twice():
    cut = joint("J2", 24, f"{MON}T09:00", in_line=False)
    again = joint("J2R", 24, f"{TUE}T12:00", replaces="J2")
    table = by_day(record([FOUR[0], cut, again, *FOUR[2:]]))
    assert sum(row.new_m for row in table.values()) == 120.0
    assert (table[MON, "a"].joints, table[TUE, "a"].joints, table[TUE, "a"].remade) == (1, 2, 1)


def test_two_joints_at_one_place_and_any_order_of_rows_cover_the_same():
    rng, rows = np.random.default_rng(3), [*FOUR, joint("J2b", 24, f"{TUE}T15:00")]
    mixed = [rows[i] for i in rng.permutation(len(rows))]
    assert {k: v.new_m for k, v in by_day(record(rows)).items()} == {
        k: v.new_m for k, v in by_day(record(mixed)).items()
    }


@settings(deadline=None, max_examples=25)
@given(st.lists(st.tuples(st.integers(1, 119), st.integers(1, 9)), min_size=1, max_size=15))
def test_the_days_add_up_to_the_length_that_the_whole_record_covers(made):
    rows = [joint(f"J{i}", at, f"2026-03-0{d}T08:0{i % 10}") for i, (at, d) in enumerate(made)]
    told = work(record(rows), "2026-03-31")
    assert daily(told)["new_m"].sum() == pytest.approx(120.0)
    half = work(record(rows), "2026-03-05")
    early = sorted(at for at, d in made if d <= 5)
    both = [
        b - a
        for (a, one), (b, two) in zip([(0, 1), *sorted(made)], [*sorted(made), (120, 1)], strict=True)
        if one <= 5 and two <= 5
    ]
    assert daily(half)["new_m"].sum() <= 120.0
    if len({at for at, _ in made}) == len(made):  # where no two stand at one place, by brute force
        assert daily(half)["new_m"].sum() == pytest.approx(float(sum(both)) if early else 0.0)


def test_tie_ins_trials_and_fittings_are_told_apart():
    rows = [joint("T", 12, f"{MON}T08:00", kind="tie-in"), joint("F", 24, f"{MON}T09:00", kind="fitting"),
            joint("X", None, f"{MON}T07:00", kind="trial", in_line=False)]  # fmt: skip
    row = by_day(record(rows))[MON, "a"]
    assert (row.joints, row.tie_ins, row.fittings, row.production, row.trials) == (2, 1, 1, 0, 1)


def test_first_time_yield_counts_only_what_was_right_at_once():
    rows = [
        joint("J1", 12, f"{MON}T08:00"),
        joint("J2", 24, f"{MON}T09:00", fusion_verdict=look.OUT_OF_WINDOW),
        joint("J3", 36, f"{MON}T10:00", fusion_verdict=look.NOT_RECORDED),  # missing data is never good data
        joint("J4", 48, f"{MON}T11:00", in_line=False),  # cut out later
        joint("J4R", 48, f"{MON}T12:00", replaces="J4"),  # and made again: not a first time
    ]
    row = by_day(record(rows))[MON, "a"]
    assert (row.first_good, row.first_made, row.out_of_window, row.remade) == (1, 4, 1, 1)


def test_the_length_in_bores_stands_apart():
    bore = {"string": "B", "line": "main", "from_chainage_m": 30.0, "to_chainage_m": 42.0, "method": "bore"}
    table = by_day(record(FOUR, strings=[bore]))
    assert (table[TUE, "a"].bore_m, table[WED, "b"].bore_m) == (6.0, 6.0)
    rows = stages(work(record(FOUR, strings=[bore]), WED)).set_index("stage")
    assert (rows.loc["fused in bores", "length_m"], rows.loc["fused in bores", "of_m"]) == (12.0, 12.0)


def checks(*names):
    rows = [("soak_time", 450.0, "s"), ("cooling_time", 22.5, "min"), ("removal_time", np.nan, "s")]
    return [{"joint_id": n, "check": c, "low": low, "unit": unit} for n in names for c, low, unit in rows]


def test_the_ceiling_is_what_soak_and_cooling_leave_room_for():
    found = record(FOUR, checks=checks("J1", "J2", "J3"))
    assert cycle_minutes(found["window_checks"]).to_dict() == {"J1": 30.0, "J2": 30.0, "J3": 30.0}  # 450 s + 22.5 min
    assert by_day(found, schedule=plan(shift=9.0))[MON, "a"].ceiling == 18
    assert by_day(found)[MON, "a"].ceiling == 3  # within the hour from the first joint to the last
    assert np.isnan(by_day(found)[WED, "b"].ceiling)  # its limits are not known


def test_a_joint_without_a_time_is_in_no_day_and_in_no_evening_and_is_said():
    told = figures_of(work(record([*FOUR, joint("J5", 60, "")]), WED))
    assert told.joints == 4
    assert told.untimed == 1
    assert told.days["new_m"].sum() == 48.0  # beyond J4 the stretch to J5 waits
    assert any("1 joints carry no time" in text for text in as_data(told)["assumptions"])


# ---- days without a joint --------------------------------------------------------------------------------------------


def test_days_without_records_stand_apart_from_days_without_work():
    rows = [joint("J1", 12, "2026-03-02T08:00"), joint("J2", 24, "2026-03-10T08:00")]
    schedule = plan(("weather", "2026-03-04", None, None, ""), ("holiday", "2026-03-05", None, None, "a"))
    told = work(record(rows), "2026-03-11", schedule)
    found = quiet(told, plan_of(told), daily(told))
    states = {str(day_of(d))[-2:]: s for d, s in zip(found["day"], found["state"], strict=True)}
    outside = dict.fromkeys(("07", "08"), "not a working day")
    without = dict.fromkeys(("03", "06", "09", "11"), "no record")
    assert states == {"04": "weather day", "05": "holiday", **outside, **without}


def test_a_crew_that_has_done_its_reach_is_not_waited_for():
    schedule = plan(("work", "2026-03-03", 0, 36, "a"), ("work", "2026-03-06", 48, 120, "b"))
    told = work(record(FOUR), "2026-03-05", schedule)
    found = quiet(told, plan_of(told), daily(told))
    assert found.groupby("crew")["state"].unique().map(list).to_dict() == {"a": ["reach done"], "b": ["reach done"]}
    early = work(record(FOUR), MON, schedule)
    assert quiet(early, plan_of(early), daily(early)).empty


# ---- stages ----------------------------------------------------------------------------------------------------------


def test_units_completed_is_a_share_of_length():
    """4,000 of 10,000 ft are 40 %: "Progress Measurement for Construction", method 1 (seen, second-hand)."""
    assert percent_complete(4_000, 10_000) == 40.0
    rows = stages(work(record([joint("J1", 48, f"{MON}T08:00"), joint("J2", 60, f"{TUE}T08:00")]), MON))
    assert rows.set_index("stage").loc["fused", "percent"] == 40.0  # 48 of 120 m
    assert np.isnan(percent_complete(0, 0))


STRING = [
    joint("T1", 24, "2026-03-06T08:00", kind="tie-in"),
    joint("S1", 36, f"{MON}T08:00", string="S"),
    joint("S2", 48, f"{MON}T09:00", string="S"),
    joint("T2", 60, "2026-03-09T08:00", kind="tie-in"),
]


@pytest.mark.parametrize(
    ("evening", "fused", "placed"), [(MON, 12, 0), ("2026-03-06", 48, 36 - 12), ("2026-03-09", 120, 120)]
)
def test_a_string_is_on_the_bank_until_both_its_ends_are_tied_in(evening, fused, placed):
    told = work(record(STRING), evening)
    rows = stages(told).set_index("stage")["length_m"]
    assert rows["fused"] == fused
    assert rows["placed"] == (placed if evening != "2026-03-06" else 36)  # the tie-in lies; the string does not yet
    assert on_the_bank(told) == fused - rows["placed"]


def test_a_string_without_a_tie_in_on_record_is_never_placed():
    told = work(record([joint("J0", 24, f"{MON}T07:00"), *STRING[1:3], joint("J9", 60, f"{MON}T10:00")]), WED)
    assert on_the_bank(told) == 12.0


def test_joints_without_a_place_are_pipe_on_the_bank():
    rows = [*FOUR, joint("U1", None, f"{MON}T10:00"), joint("U2", None, f"{MON}T11:00", length_added_m=9.5)]
    assert on_the_bank(work(record(rows), WED)) == 12.0 + 9.5


def section(low, high, on, result):
    return {
        "section": f"{low}",
        "line": "main",
        "from_chainage_m": low,
        "to_chainage_m": high,
        "tested_on": on,
        "result": result,
    }


def test_tested_is_by_the_last_word_of_the_record_on_that_evening():
    sections = [section(0, 40, TUE, "failed"), section(0, 40, "2026-03-05", "Passed")]
    sections += [section(30, 60, MON, "passed"), section(60, 120, "", "passed")]

    def told(evening):
        rows = stages(work(record(FOUR, sections=sections), evening))
        return {r.stage: r.length_m for r in rows.itertuples() if r.stage.startswith("tested")}

    assert told("2026-03-01") == {"tested": 0.0}
    assert told(WED) == {"tested, last result: failed": 40.0, "tested, last result: passed": 20.0}
    assert told("2026-03-06") == {"tested, last result: passed": 60.0}


def test_accepted_is_not_known_and_what_is_outstanding_is_left_out():
    bad = joint("J2", 24, f"{MON}T09:00", fusion_verdict=look.OUT_OF_WINDOW)
    rows = stages(work(record([FOUR[0], bad, *FOUR[2:]]), WED)).set_index("stage")
    assert np.isnan(rows.loc["accepted", "length_m"])
    assert rows.loc["nothing outstanding", "length_m"] == 120.0 - 24.0
    closed = stages(work(record([FOUR[0], bad | {"closed": True}, *FOUR[2:]]), WED)).set_index("stage")
    assert closed.loc["nothing outstanding", "length_m"] == 120.0


def test_without_a_joint_nothing_is_done_and_nothing_fails():
    told = figures_of(work(record([]), WED, plan(("work", "2026-03-06", 0, 120, "a"))))
    assert (told.joints, told.days.empty, told.quiet.empty) == (0, True, True)
    assert told.stages.set_index("stage").loc["fused", "length_m"] == 0.0
    assert told.compared[0].left_m == 120.0
    assert said(told)


# ---- the sample route ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def told(saltreach):
    return figures(saltreach)


def test_the_figures_of_the_whole_record_are_those_of_the_build(saltreach, told):
    assert told.days["new_m"].sum() == pytest.approx(saltreach.counts.covered_m, abs=1e-6)
    assert told.days["joints"].sum() == told.joints == saltreach.counts.joints
    assert told.days["trials"].sum() == saltreach.counts.trials
    assert told.days["remade"].sum() == saltreach.counts.superseded
    assert expected(told.work)[1] == saltreach.counts.joints + saltreach.counts.missing_records
    assert set(told.days["crew"]) == {"crew_a", "crew_b", "crew_c"}


def test_joints_by_day_and_crew_are_those_of_the_files(saltreach, told):
    """Counted anew from the table of joints, by its own words."""
    joints = saltreach.tables["joints"]
    line = joints[joints["in_line"].astype(bool)]
    key = [line["fused_local"].str[:10], line["source_file"].str.extract(r"(crew_\w)")[0]]
    theirs = line.groupby(key).size()
    ours = told.days[told.days["joints"] > 0].groupby(["day", "crew"])["joints"].sum()
    assert {(str(day_of(d)), c): n for (d, c), n in ours.items()} == theirs.to_dict()


def test_every_figure_is_plain_data(told):
    document = json.loads(json.dumps(as_data(told), allow_nan=False))
    assert document["as_of"] == "2026-03-20"
    assert document["days"][0]["day"] == "2026-02-10"
    accepted = document["stages"][-1]
    assert (accepted["stage"], accepted["length_m"], accepted["percent"]) == ("accepted", None, None)
    assert accepted["says"].startswith("not known")


def run(*words):
    return CliRunner().invoke(cli.main, ["progress", *map(str, words)])


def test_what_did_crew_b_do_on_tuesday_and_when_will_they_finish():
    result = run(SALTREACH, "--as-of", "2026-02-25")
    assert result.exit_code == 0, result.output
    tuesday = [line.split() for line in result.stdout.splitlines() if line.startswith("Tue 2026-02-24  crew_b")]
    assert tuesday == [
        ["Tue", "2026-02-24", "crew_b", "M24", "4", "0", "36", "0", "0", "4", "of", "4", "4", "of", "17"]
    ]
    left, when = (result.stdout.partition(f"\n{title}")[2] for title in ("What is left", "When it may be done"))
    assert line_of(left, "crew_b") == ["519", "480", "39", "0", "86", "6", "Wed", "2026-03-04"]
    assert line_of(when, "crew_b")[:4] == ["Fri", "2026-03-06", "Mon", "2026-03-09"]  # P50, P80


def line_of(text, name):
    return next(line.split()[1:] for line in text.splitlines() if line.startswith(f"{name} "))


@pytest.mark.parametrize("evening", ["2026-02-09", "2026-02-25", "2026-03-10", "2026-03-20"])
def test_no_line_is_wider_than_a_terminal(evening):
    lines = run(SALTREACH, "--as-of", evening).stdout.splitlines()
    assert max(map(len, lines)) <= WIDTH


def test_headings_say_themselves_what_they_count(told):
    days = day_table(told)
    assert days.head[7:9] == ("out of\nwindow", "right\nfirst time")
    assert "in window and never cut out" in days.notes[0]
    out = sum(int(row[7]) for row in days.rows)
    assert out == told.days["out_of_window"].sum() > 0


def test_of_all_crews_no_place_is_told_but_of_one_alone():
    both = plan(("work", "2026-03-04", 0, 48, "a"), ("work", "2026-03-06", 48, 120, "b"))
    (table,) = plan_tables(figures_of(work(record(FOUR), WED, both)))
    places = {row[0]: row[-2:] for row in table.rows}
    assert list(places) == ["a", "b", "all crews"]
    assert places["a"] == ("30 m", "1 day early")  # planned for the 4th, made on the 3rd
    assert places["all crews"] == ("-", "-")
    (alone,) = plan_tables(figures_of(work(record(FOUR), WED, plan(("work", "2026-03-04", 0, 120, "a")))))
    assert {row[-2:] for row in alone.rows} != {("-", "-")}


def test_columns_end_together_under_headings_of_two_lines():
    assert columns(["a", "long\nb"], [["xx", "1,000"]], 1) == ["     long", "a       b", "xx  1,000"]
    assert folded(["word " * 40])[1].startswith("  word")
    assert max(map(len, folded(["word " * 40]))) <= WIDTH


def test_an_evening_as_json_is_one_document():
    found = json.loads(run(SALTREACH, "--as-of", "2026-02-25", "--json").stdout)
    assert found["as_of"] == "2026-02-25"
    assert {row["crew"] for row in found["planned_against_actual"]} == {"", "crew_a", "crew_b", "crew_c"}
    assert found["cautions"]


@pytest.mark.parametrize("words", [("nowhere",), (SALTREACH, "--watch", "--json"), (SALTREACH, "--as-of", "soon")])
def test_a_wrong_call_ends_with_two(words):
    assert run(*words).exit_code == 2


def test_the_same_evening_gives_the_same_words():
    assert run(SALTREACH, "--as-of", "2026-03-05").stdout == run(SALTREACH, "--as-of", "2026-03-05").stdout


def test_an_evening_before_the_first_joint_has_nothing_yet():
    result = run(SALTREACH, "--as-of", "2026-02-09")
    assert result.exit_code == 0
    assert "no joint was made" in result.stdout
    assert day("2026-02-09") == pd.Timestamp("2026-02-09").timestamp() / 86400


def test_a_clock_that_was_never_set_does_not_stretch_the_days():
    rows = [joint("J0", 6, "2000-01-01T00:00"), *FOUR]
    told = figures_of(work(record(rows, going_on=True), WED))
    assert told.days["day"].min() == day("2000-01-01")  # as recorded, in its day
    assert len(told.quiet) < 10
    assert any("1 joints carry a time half a year or more before" in text for text in as_data(told)["assumptions"])
    assert "1 Jan" not in chart(told, "x")
