"""The sample route end to end: against the truth that was drawn before the records were made, and a golden copy."""

import filecmp
import runpy
import shutil

import pandas as pd
import pyogrio
import pytest

from tests.conftest import ROOT, SALTREACH
from tests.golden.remake import GOLDEN, golden_tables

TRUTH = SALTREACH / "truth"


@pytest.fixture(scope="module")
def joints(saltreach):
    return saltreach.tables["joints"].set_index("joint")


@pytest.fixture(scope="module")
def faults():
    found = pd.read_csv(TRUTH / "faults.csv", dtype=str)
    return {fault: " ".join(names).split() for fault, names in found.groupby("fault", sort=False)["joints"]}


def test_rows_in_are_outcomes_out(saltreach):
    counts, records = saltreach.counts, saltreach.tables["records"]
    parts = counts.joints + counts.duplicates + counts.superseded + counts.trials + counts.set_aside
    assert counts.rows == len(records) == parts
    assert not records.duplicated(["source_file", "sheet", "source_row"]).any()


def test_every_joint_of_the_truth_is_a_joint_or_is_known_to_be_missing(joints, faults):
    truth = set(pd.read_csv(TRUTH / "joints.csv", dtype=str)["joint"])
    missing = set(pd.read_csv(TRUTH / "missing.csv", dtype=str)["joint"])
    without_number = set(faults["no joint number"])
    in_line = joints[joints["in_line"].astype(bool)]
    assert set(in_line.index) == truth - missing - without_number


def test_places_agree_with_the_truth_as_well_as_the_fixes_allow(joints):
    truth = pd.read_csv(TRUTH / "joints.csv", dtype={"joint": str}).set_index("joint")
    placed = joints[joints["in_line"].astype(bool) & joints["chainage_m"].notna()]
    assert len(placed) == joints["in_line"].sum()  # nobody is left without a place
    error = placed["chainage_m"] - truth["chainage_m"].reindex(placed.index)
    by_fix = placed["fix_chainage_m"] - truth["chainage_m"].reindex(placed.index)
    within = (error.abs() <= 1.96 * placed["chainage_sd_m"]).mean()
    assert 0.92 <= within <= 0.99
    assert error.abs().max() < 1.5  # nobody stands on the wrong leg, 8 m away
    assert error.abs().median() < by_fix.abs().median() / 3


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        ("heater too cold", "Heater temperature 208.0 °C, below 215.0 °C"),
        ("soak too short", "Soak time 405.0 s, below 447.6 s"),
        ("heater removal too long", "Heater removal time 11.5 s, above 7.7 s"),
        ("fusion pressure too high", "fusion pressure 0.212 MPa, above 0.190 MPa"),
        ("cooling too short", "Cooling time 18.0 min, below 23.3 min"),
        ("initial bead too small", "Initial bead 3.0 mm, below 4.2 mm"),
        ("operator's time run out", "op 7"),
    ],
)
def test_a_joint_out_of_its_window_says_which_and_by_how_much(joints, faults, fault, says):
    for name in faults[fault]:
        assert joints.loc[name, "fusion_verdict"] == "out of window"
        assert says.lower().replace("heater removal", "removal") in joints.loc[name, "reasons"].lower()


def test_a_joint_whose_curve_contradicts_its_record_cannot_be_told(joints, faults):
    (name,) = faults["curve and record differ"]
    assert joints.index[joints["fusion_verdict"] == "cannot tell"].to_list() == [name]
    assert joints.loc[name, "reasons"].startswith("Curve: the curve shows a soak time of 4")
    assert "the record states 469 s; window from 447.6 to 559.5 s" in joints.loc[name, "reasons"]


def test_no_other_joint_is_out_of_its_windows(joints, faults):
    meant = {
        n
        for f, names in faults.items()
        if f.split()[-1] in ("cold", "short", "long", "high", "small", "out")
        for n in names
    }
    out = joints[joints["fusion_verdict"] == "out of window"]
    assert set(out.index) == meant
    assert set(joints.index[joints["position_verdict"] == "out of window"]) == set(faults["laid beside the line"])


def test_missing_quantities_are_not_recorded(joints, faults):
    assert set(joints.index[joints["fusion_verdict"] == "not recorded"]) == {
        *faults["no soak time"],
        *faults["no drag"],
    }
    assert "the drag pressure was not recorded" in joints.loc[faults["no drag"][0], "reasons"]


def test_a_joint_without_a_usable_fix_is_placed_by_its_neighbours_and_says_why(joints, faults):
    truth = pd.read_csv(TRUTH / "joints.csv", dtype={"joint": str}).set_index("joint")["chainage_m"]
    for fault, says in [
        ("letter O in the latitude", "is not a number"),
        ("no position", "No position was recorded"),
        ("fix at 0/0", "The position is 0, 0"),
    ]:
        joint = joints.loc[faults[fault][0]]
        assert (joint["placed_by"], joint["position_verdict"]) == ("tally", "cannot tell")
        assert says in joint["reasons"]
        assert "placed by order and pipe lengths" in joint["reasons"]
        assert joint["chainage_m"] == pytest.approx(truth[faults[fault][0]], abs=0.3)


def test_lineage(saltreach, joints, faults):
    records = saltreach.tables["records"]
    assert list(records.loc[records["outcome"] == "duplicate", "joint_id"]) == faults["row written twice"]
    old, new = faults["cut-out and replacement"]
    assert not joints.loc[old, "in_line"]
    assert f"Cut out and replaced by {new}" in joints.loc[old, "reasons"]
    assert set(records.loc[records["outcome"] == "trial", "joint_id"]) == set(faults["trial joint"])
    reasons = " ".join(records.loc[records["outcome"] == "set aside", "reason"])
    assert "No joint number" in reasons
    assert "A total row" in reasons


def test_missing_records_are_found_between_their_neighbours(saltreach):
    """A missing record lies in the reach of the gap that is found, and each gap has its number of them."""
    truth = pd.read_csv(TRUTH / "joints.csv", dtype={"joint": str}).set_index("joint")
    missing = pd.read_csv(TRUTH / "missing.csv", dtype=str)["joint"]
    gaps = saltreach.tables["gaps"]
    for _, gap in gaps[gaps["missing_records"] > 0].iterrows():
        within = truth["chainage_m"].between(gap["from_chainage_m"] + 3, gap["to_chainage_m"] - 3)
        lost = set(truth.index[within])
        assert len(lost) == gap["missing_records"], gap["gap_id"]
    every = truth.loc[missing, "chainage_m"]
    found = [((gaps["from_chainage_m"] < c) & (c < gaps["to_chainage_m"])).sum() for c in every]
    assert found == [1] * len(missing)


def test_a_string_fused_at_one_place_lies_where_its_serials_put_it_and_no_place_of_it_passes(saltreach, joints, faults):
    """The first fused lies farthest, 242 m from where the machine stood: serials say so, and the tie-ins close it."""
    truth = pd.read_csv(TRUTH / "joints.csv", dtype={"joint": str}).set_index("joint")["chainage_m"]
    string = faults["fused elsewhere, pulled in"]
    assert set(joints.loc[string, "placed_by"]) == {"tally"}
    assert set(joints.loc[string, "position_verdict"]) == {"cannot tell"}
    assert (joints.loc[string, "chainage_m"] - truth[string]).abs().max() < 0.3
    assert (joints.loc[string, "fix_chainage_m"] - truth[string]).abs().max() > 200
    assert sum("20 joints (B101 to B120) were fused at one place" in s for s in saltreach.statements) == 1


def test_the_day_of_the_wrong_clock_is_asked_about_and_nothing_is_changed(saltreach, joints, faults):
    said = [s for s in saltreach.statements if "machine M37 made 9 joints on 2026-02-26" in s]
    assert len(said) == 1
    assert 'clock = "+3 h"' in said[0]
    wrong = joints.loc[faults["clock in another zone"], "fused_local"]
    assert wrong.min().startswith("2026-02-26T04:58")  # as recorded


def test_golden_tables(saltreach):
    for name, text in golden_tables(saltreach).items():
        assert text == (GOLDEN / name).read_text(encoding="utf-8"), f"{name} differs: see tests/golden/remake.py"


def test_the_script_makes_the_same_files_again(tmp_path, monkeypatch):
    copy = tmp_path / "sample_routes" / "saltreach"
    shutil.copytree(
        SALTREACH, copy, ignore=shutil.ignore_patterns("records", "design", "context", "truth", "__pycache__", "*.csv")
    )
    monkeypatch.syspath_prepend(str(copy))
    runpy.run_path(str(copy / "make.py"), run_name="__main__")
    for name in (
        "records/crew_a.csv",
        "records/crew_c.csv",
        "records/curves/B178.csv",
        "people.csv",
        "machines.csv",
        "features.csv",
        "truth/joints.csv",
        "truth/faults.csv",
        "truth/missing.csv",
    ):
        assert filecmp.cmp(copy / name, SALTREACH / name, shallow=False), name
    theirs, ours = (pyogrio.read_dataframe(p / "design" / "centreline.gpkg") for p in (copy, SALTREACH))
    assert theirs.geometry.geom_equals_exact(ours.geometry, 1e-9).all()
    for layer in ("roads", "water"):
        theirs, ours = (
            pyogrio.read_dataframe(p / "context" / "surroundings.gpkg", layer=layer) for p in (copy, SALTREACH)
        )
        assert theirs.geometry.geom_equals_exact(ours.geometry, 1e-9).all()
    for sheet in ("First half", "Second half"):
        theirs, ours = (
            pd.read_excel(p / "records/crew_b.xlsx", sheet_name=sheet, header=None, engine="calamine")
            for p in (copy, SALTREACH)
        )
        pd.testing.assert_frame_equal(theirs, ours)


def test_readme_of_the_route_tells_of_every_fault(faults):
    text = (ROOT / "sample_routes/saltreach/README.md").read_text(encoding="utf-8")
    assert [n for names in faults.values() for n in names if n not in text and not n.startswith(("B1", "C-0"))] == []
    assert "to be filled" not in text


def test_runs_say_how_their_fixes_scatter_and_how_their_pipes_lie(saltreach):
    """Laid lengths scatter by 3 cm and have no scale; the fixes scatter as their crews state, the string has none."""
    runs = saltreach.tables["runs"]
    assert runs["joints_n"].sum() == saltreach.counts.joints
    assert runs["scale_per_mille"].abs().max() < 3
    assert runs["fix_spread"].between(0.75, 1.3).all()
    assert runs["explained"].str.startswith("laid ").all()
