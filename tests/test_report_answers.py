"""The first page and the ledger of the report: who decided what, what cannot be told, what was found where."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from asbuilt import build, settings
from asbuilt.outstanding import joints_that_stand_out
from asbuilt.publish.report import write_report
from asbuilt.publish.report_data import report_data
from asbuilt.publish.report_tables import untold_says
from asbuilt.stationing import ChainageEquation
from tests.making import E0, N0, csv_of, make_route
from tests.pdf_pages import number, pages_of, text_of

ONE = csv_of(f"J1,2026-03-01 10:00,{E0 + 12},{N0},215")


# ---- the first page --------------------------------------------------------------------------------------------------


def test_the_first_page_says_what_was_decided_by_whom_and_what_its_states_mean(report, saltreach):
    page, decisions = pages_of(report[0])[0], saltreach.tables["decisions"]
    last = decisions[decisions["state"] != "superseded"]
    cells = report[1]["answer"]["decided"]
    assert {word: number(many) for word, many, _ in cells} == last["decision"].value_counts().to_dict()
    assert all(" ".join(row) in page for row in cells)
    assert set(decisions["name"]) <= {who.split(",")[0] for *_, people in cells for who in people.split("; ")}
    for state, means in (("stale", "it closes nothing"), ("not tied", "a change would not be seen")):
        assert re.search(rf"\b1 {state} \([^)]*{means}\)", page), state


def test_the_first_page_says_of_how_many_positions_nobody_can_tell_and_why(report, saltreach):
    """The causes add up; those whose fix is not sure enough are as many as the statements on files say."""
    said = next(text for text in report[1]["answer"]["sure"] if text.startswith("Cannot be told"))
    parts = [int(text.split()[0]) for text in said.split(": ")[2].split("; ")]
    untold = saltreach.counts.position["cannot tell"]
    assert f"{untold} of {saltreach.counts.joints} positions" in said
    assert sum(parts) == untold
    stated = [
        int(text.split()[0]) for text in saltreach.statements if re.search(r"accurate enough|would tell by", text)
    ]
    assert f"{sum(stated)} whose fix" in said
    assert said in pages_of(report[0])[0]


def test_causes_that_have_no_words_of_their_own_are_counted(saltreach):
    joints = saltreach.tables["joints"].assign(position_verdict="cannot tell", reasons="", placed_by="fix")
    joints = joints.assign(leg_probability=[0.5] * 3 + [1.0] * (len(joints) - 3))[joints["in_line"]]
    assert untold_says(joints)[0].endswith("3 that may lie on another leg; 355 by what the joint log says.")
    assert untold_says(joints.assign(position_verdict="in window")) == []


def test_the_first_page_says_that_heights_have_no_datum_and_that_stations_jump(report, saltreach):
    page = pages_of(report[0])[0]
    assert "No height datum is stated" in page
    assert "1+800.00 back = 1+850.00 ahead" in page
    assert "a length across it is not the difference of two stations" in page
    info = saltreach.tables["build_info"]
    is_heights = (info["topic"] == "frame") & (info["name"] == "heights")
    said = info["value"].mask(is_heights, "as recorded, stated to be in EPSG:5711; never transformed")
    level = {line: replace(of, equations=()) for line, of in saltreach.stationing.items()}
    of = replace(saltreach, stationing=level, tables={**saltreach.tables, "build_info": info.assign(value=said)})
    assert is_heights.sum() == 1
    assert report_data(of)["answer"]["datum"][1:] == [
        "Heights are as recorded, stated to be in EPSG:5711; never transformed.", "Chainage is a grid length.",
    ]  # fmt: skip


def test_decisions_of_which_none_can_be_used_are_not_passed_over(tmp_path):
    folder = make_route(tmp_path, records=ONE)
    row = "joint_id,decision,name,date\nJ77,accept as is,A. Person (invented),2026-03-10\n"
    (folder / "decisions.csv").write_text(row, encoding="utf-8")
    told = report_data(build.build(settings.load(folder)))["answer"]
    assert told["decided"] == []
    assert told["decided_says"][0].startswith("1 row of decisions was left out and closes nothing")
    assert "no decision was handed in" not in " ".join(told["decided_says"])


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_first_page_is_one_page_also_of_a_long_record(saltreach, tmp_path, paper):
    """400 decisions of 37 people with long names, all ways of placing, all causes, eleven equations."""
    first = saltreach.tables["decisions"].iloc[0].to_dict()
    words = ("accept as is", "repair", "cut out and re-make", "position confirmed", "more information")
    states = ("current", "stale", "not tied", "superseded", "closes nothing")
    rows = [
        first
        | {"decision": words[i % 5], "state": states[i // 5 % 5], "name": f"Somebody of a long name, {i % 37}"}
        | {"role": "deputy to the engineer who acts for the owner"}
        for i in range(400)
    ]
    joints, accuracy = saltreach.tables["joints"], saltreach.tables["accuracy"]
    ways = ["survey", "fix", "fix+tally", "tally", "unplaced"]
    placed = joints.assign(placed_by=[ways[i % 5] for i in range(len(joints))], position_verdict="cannot tell")
    radii = accuracy[accuracy["comparison"] == "radius of places"].iloc[[0] * 5].assign(method=ways)
    jumps = tuple(ChainageEquation(back_m=100.0 * i, ahead_m=100.0 * i + 10) for i in range(2, 13))
    long = replace(
        saltreach,
        tables={
            **saltreach.tables,
            "decisions": pd.DataFrame(rows)[saltreach.tables["decisions"].columns],
            "joints": placed,
            "accuracy": pd.concat([radii, accuracy], ignore_index=True),
        },
        stationing={line: replace(of, equations=jumps) for line, of in saltreach.stationing.items()},
        form=replace(saltreach.form, paper=paper),
    )
    write_report(long, tmp_path / "long.pdf")
    pages = pages_of(tmp_path / "long.pdf")
    assert "signature" in pages[0]
    assert re.search(r"accept as is 64 .* and \d+ more repair 64", pages[0])
    assert "11 chainage equations" in pages[0]
    assert "Ledger by chainage" in pages[1]
    assert "In which datum?" not in pages[1]


# ---- the ledger ------------------------------------------------------------------------------------------------------


def test_a_finding_stands_at_the_first_of_its_joints_with_all_of_them_named(report, saltreach):
    findings = saltreach.tables["findings"].set_index("finding_id")
    joints = saltreach.tables["joints"].set_index("joint_id")
    rows = {row["id"]: row for row in report[1]["ledger"][0]["rows"] if row["kind"] == "finding"}
    assert set(rows) == set(findings.index)
    for name, row in rows.items():
        of = joints.loc[findings.loc[name, "joints"].split(", ")].sort_values("chainage_m")
        assert row["station"] == of["station"].iloc[0]
        assert row["to"] == (of["station"].iloc[-1] if len(of) > 1 else "")
        assert row["names"] == findings.loc[name, "joints"]
    said = text_of(report[0]).split("What has no chainage")[1].split("All decisions")[0]
    assert "finding" not in said
    assert "row set aside" in said


def test_a_finding_of_joints_without_a_place_has_no_chainage(saltreach):
    findings, joints = saltreach.tables["findings"], saltreach.tables["joints"]
    lost = joints["joint_id"].isin(findings["joints"].iloc[0].split(", "))
    nowhere = {"chainage_m": joints["chainage_m"].mask(lost), "station": joints["station"].mask(lost, "")}
    of = replace(saltreach, tables={**saltreach.tables, "joints": joints.assign(**nowhere)})
    told = report_data(of)
    name = findings["finding_id"].iloc[0]
    assert [row["id"] for row in told["elsewhere"] if row["kind"] == "finding"] == [name]
    on_line = [row["id"] for row in told["ledger"][0]["rows"] if row["kind"] == "finding"]
    assert sorted([*on_line, name]) == sorted(findings["finding_id"])


def test_the_ledger_says_what_stands_out_as_the_lists_have_it(report, saltreach):
    """What the sentence says is held against the masks that every list is made of."""
    said = text_of(report[0])
    assert "Cannot tell does not stand out by itself, and asks for no decision." in said
    assert "a joint that it names does not stand out by that alone" in said
    joints = saltreach.tables["joints"]
    untold = dict.fromkeys(("fusion_verdict", "position_verdict"), "cannot tell")
    quiet = joints.assign(**untold, placed_by="fix", number_open=False)
    assert not joints_that_stand_out(quiet).any()
    named = [name for names in saltreach.tables["findings"]["joints"] for name in names.split(", ")]
    assert not joints_that_stand_out(joints)[joints["joint_id"].isin(named)].all()
