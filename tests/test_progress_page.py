"""The folder of progress: the page without network or script, the chart, the tables, the map's evening, watching."""

import base64
import dataclasses
import hashlib
import json
import re
import shutil
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import Page

from asbuilt import cli
from asbuilt.cautions import CAUTIONS
from asbuilt.errors import OutputError
from asbuilt.look import CREWS
from asbuilt.progress import outlet
from asbuilt.progress.calendar import day_number, day_of
from asbuilt.progress.changes import change_lines, changes
from asbuilt.progress.chart import chart
from asbuilt.progress.days import daily
from asbuilt.progress.figures import figures, figures_of
from asbuilt.progress.page import page
from asbuilt.progress.said import left_tables, plan_tables
from asbuilt.progress.watch import Watcher, difference, seen, watch
from asbuilt.progress.work import work_of
from asbuilt.publish import webmap
from tests.conftest import SALTREACH
from tests.making import csv_of, make_route
from tests.map_pages import DESK, DEVICES, PHONE, Opener, keep, until
from tests.map_record import NASTY, invented
from tests.work_record import gap, joint, plan, record, work

SVG = "{http://www.w3.org/2000/svg}"


def run(*words):
    return CliRunner().invoke(cli.main, ["progress", *map(str, words)])


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    """The sample route's progress on an evening in its midst."""
    folder = tmp_path_factory.mktemp("progress") / "out"
    result = run(SALTREACH, "--as-of", "2026-03-05", "-o", folder)
    assert result.exit_code == 0, result.output
    assert result.stdout.rstrip().endswith(f"Written: {folder}, as of 2026-03-05")
    return folder


# ---- the map's evenings and ours -------------------------------------------------------------------------------------


def test_each_evening_has_the_length_that_the_map_shows(saltreach, opened):
    """Two ways to one figure: our tables, and the scripts of the map in a browser."""
    map_page = opened(saltreach, DESK)
    days = daily(work_of(saltreach))
    steps = days.groupby("day")["new_m"].sum()
    joints = days[days["joints"] > 0].groupby("day")["joints"].sum()
    assert len(joints) == 1 + int(map_page.get_attribute("#day", "max"))
    for at, (day, covered) in enumerate(steps.cumsum().items()):
        map_page.locator("#day").evaluate("(d, at) => { d.value = at; d.dispatchEvent(new Event('input')); }", at)
        counted = map_page.evaluate("asbuilt.counts()")
        assert counted["covered"] == pytest.approx(covered, abs=0.01), day_of(day)
        assert counted["joints"] == joints.cumsum()[day]
        assert f"{steps[day]:.0f} m newly covered" in map_page.inner_text("#day-says")


def address(opener: Opener, path: Path, fragment: str) -> Page:
    context = opener.browser.new_context(**DESK)
    opener.contexts.append(context)
    map_page = context.new_page()
    map_page.on("pageerror", lambda error: opener.complaints.append(str(error)))
    map_page.goto(path.as_uri() + fragment)
    until(map_page, "() => window.asbuilt !== undefined")
    return map_page


@pytest.mark.parametrize(
    ("fragment", "says"),
    [
        ("#evening=2026-03-13", "Evening of 13 March 2026"),
        ("#evening=2026-03-15", "Evening of 15 March 2026: no joint was made on this day"),
        ("#evening=2027-01-01", "Evening of 1 January 2027: the record holds no joint of this day"),
        ("#evening=2020-01-01", "Evening of 1 January 2020: the record holds no joint of this day"),
    ],
)
def test_an_address_opens_the_map_on_an_evening(opened, tmp_path, fragment, says):
    path = tmp_path / "map.html"
    webmap.write_map(invented(), path)
    map_page = address(opened, path, fragment)
    assert map_page.inner_text("#day-says").startswith(says)
    map_page.evaluate("window.location.hash = '#evening=2026-03-12'")
    until(map_page, "() => document.querySelector('#day-says').textContent.startsWith('Evening of 12 March')")


# ---- the page --------------------------------------------------------------------------------------------------------


def test_the_page_asks_for_nothing_and_leads_to_the_map_of_an_evening(opened, out):
    shown = opened(out / "progress.html", DESK, ready="() => document.querySelector('svg') !== null")
    keep(shown, "progress-desk")
    shown.locator(".chart").scroll_into_view_if_needed()
    keep(shown, "progress-chart")
    link = shown.locator("td a", has_text="Tue 2026-02-24").first
    assert link.get_attribute("href") == "joint_map.html#evening=2026-02-24"
    link.click()
    until(shown, "() => window.asbuilt !== undefined")
    assert shown.inner_text("#day-says").startswith("Evening of 24 February 2026")


@DEVICES
def test_the_page_fits_its_screen_and_can_be_read(opened, out, device):
    shown = opened(out / "progress.html", device, ready="() => document.querySelector('svg') !== null")
    keep(shown, f"progress-{'phone' if device is PHONE else 'desk'}-head")
    width = shown.evaluate("document.documentElement.scrollWidth")
    assert width <= device["viewport"]["width"]
    sizes = shown.evaluate(
        "[...document.querySelectorAll('p, td, th, li')].map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 16
    assert shown.locator("main").inner_text().count("crew_b") > 5
    for caution in CAUTIONS:
        assert caution in shown.inner_text("body")


@DEVICES
def test_the_page_has_the_tables_of_the_terminal_and_none_is_wider_than_the_screen(saltreach, opened, out, device):
    told = figures_of(dataclasses.replace(work_of(saltreach), evening=day_number(date(2026, 3, 5))))
    shown = opened(out / "progress.html", device, ready="() => document.querySelector('svg') !== null")
    for table in (*plan_tables(told), *left_tables(told)):
        heading = shown.locator("h2", has_text=table.title)
        box = shown.locator(".wide", has=shown.locator("table")).and_(shown.get_by_label(table.title, exact=True))
        assert heading.count() == box.count() == 1
        rows = "e => [...e.rows].map(row => [...row.cells].map(cell => cell.textContent))"
        assert box.locator("tbody").evaluate(rows) == [list(row) for row in table.rows]
        assert box.evaluate("e => e.scrollWidth <= e.clientWidth")
    for box in shown.locator(".part .wide").all():
        assert box.evaluate("e => e.scrollWidth <= e.clientWidth")
    keep(shown, f"progress-{'phone' if device is PHONE else 'desk'}-tables")


@pytest.mark.parametrize("width", [320, 390, 600])
def test_on_a_phone_each_figure_stands_in_sight_with_its_heading(opened, out, width):
    """As a browser lays it out and tells it to a reader: the words before a figure are part of its name."""
    device = {**PHONE, "viewport": {"width": width, "height": 844}}
    shown = opened(out / "progress.html", device, ready="() => document.querySelector('svg') !== null")
    assert shown.evaluate("document.documentElement.scrollWidth") == width
    figures = shown.locator(".part td[data-head]").evaluate_all(
        """cells => cells.map(cell => { const box = cell.getBoundingClientRect();
          const isSeen = box.left >= 0 && box.right <= innerWidth;
          return [getComputedStyle(cell, "::before").content, cell.dataset.head, isSeen];
        })"""
    )
    assert len(figures) > 100
    assert all(said == f'"{head}"' and is_seen for said, head, is_seen in figures)
    assert {"ahead (+) behind (-)", "in four of five (P80)", "new m"} <= {head for _, head, _ in figures}
    assert (
        shown.locator("[role=table]").count() == shown.locator("table").count() > 3
    )  # a table still, for who hears it
    told = shown.get_by_label("Against the plan", exact=False).get_by_role("cell", name="crew_b", exact=True)
    assert told.count() == 1
    keep(shown, f"progress-phone-{width}-cards")


@DEVICES
def test_where_the_chart_goes_on_that_is_said(opened, out, device):
    shown = opened(out / "progress.html", device, ready="() => document.querySelector('svg') !== null")
    goes_on = shown.locator(".chart").evaluate("e => e.scrollWidth > e.clientWidth")
    assert goes_on == (device is PHONE)
    assert shown.is_visible(".sideways") == goes_on
    order = shown.locator("h2").all_inner_texts()
    assert order.index("Where and when") < order.index("Against the plan, lengths in m")


def test_nothing_runs_in_the_page_and_only_its_own_styles_count(out):
    text = (out / "progress.html").read_text(encoding="utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    assert policy.startswith("default-src &#x27;none&#x27;; style-src")
    styles = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    digests = [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in styles]
    assert len(styles) == 2
    assert all(f"sha256-{d}" in policy for d in digests)
    assert "<script" not in text
    assert not re.findall(r'(?:src|href)="(?!joint_map\.html)', text)
    assert "style=" not in text


def test_words_of_a_record_stay_words(opened, tmp_path):
    rows = [
        joint(f"J{i}", 12 * (i + 1), f"2026-03-0{i + 2}T09:00", crew=word.replace("/", "_"))
        for i, word in enumerate(NASTY[:4])
    ]
    told = figures_of(work(record(rows), "2026-03-09", plan(("work", "2026-03-06", 0, 60, NASTY[3]))))
    made = invented()
    made = dataclasses.replace(made, title=dataclasses.replace(made.title, name=NASTY[0]))
    path = tmp_path / "progress.html"
    path.write_text(page(made, told, chart(told, NASTY[0])), encoding="utf-8")
    shown = opened(path, DESK, ready="() => document.querySelector('svg') !== null")
    assert shown.title().startswith(NASTY[0])
    assert shown.inner_text("h1") == NASTY[0]
    assert NASTY[3] in shown.inner_text("main")
    assert shown.locator("main img, script").count() == 0


# ---- the chart -------------------------------------------------------------------------------------------------------


def test_the_chart_is_svg_with_words_for_who_does_not_see_it(out):
    text = (out / "time_chainage.svg").read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)  # noqa: S314  # ours
    assert root.find(f"{SVG}title").text == "Saltreach raw water main (invented): progress"
    told = root.find(f"{SVG}desc").text
    assert "Chainage runs to the right, time runs down" in told
    assert re.search(r"crew_b: \d+ m from Thu 2026-02-12 to Wed 2026-03-04", told)
    words = {t.text for t in root.iter(f"{SVG}text")}
    assert {
        "crew_a",
        "crew_b",
        "crew_c",
        "as of",
        "tie-in made",
        "tie-in planned",
        "bore",
        "Length covered (m)",
    } <= words
    assert "As of the evening of Thu 2026-03-05." in words


def strokes(found, frame_of_crew=0):
    """The data of the paths that are drawn in the colour of a crew, solid ones only."""
    root = ElementTree.fromstring(chart(found, "x"))  # noqa: S314  # ours
    colour = CREWS[frame_of_crew]
    return [p.get("d") for p in root.iter(f"{SVG}path") if p.get("stroke") == colour and not p.get("stroke-dasharray")]


def test_a_gap_is_left_open_in_the_line_of_a_crew():
    rows = [joint(f"J{i}", 12 * (i + 1), f"2026-03-02T{8 + i:02d}:00") for i in range(6)]
    whole = figures_of(work(record(rows), "2026-03-09"))
    parted = figures_of(work(record(rows, gaps=[gap(36.0, 48.0)]), "2026-03-09"))
    assert strokes(whole)[0].count("M") == 1
    assert strokes(parted)[0].count("M") == 2


def test_points_of_the_line_stand_where_chainage_and_time_put_them():
    rows = [
        joint("J1", 0, "2026-03-02T00:00"),
        joint("J2", 120, "2026-03-04T00:00"),
        joint("J3", 60, "2026-03-03T00:00"),
    ]
    d = strokes(figures_of(work(record(rows), "2026-03-04")))[0]
    points = np.array([list(map(float, pair.split())) for pair in re.split("[ML]", d)[1:]])
    assert points[:, 0].tolist() == [112, 492, 872]  # the plot is 760 wide and begins at 112
    steps = np.diff(points[:, 1])
    assert steps[0] == steps[1] > 0  # one day each, downwards


def test_joints_without_a_place_stand_in_a_lane_of_their_own():
    rows = [joint("J1", 12, "2026-03-02T08:00"), joint("U", None, "2026-03-02T09:00")]
    assert "no place" in chart(figures_of(work(record(rows), "2026-03-02")), "x")
    assert "no place" not in chart(figures_of(work(record(rows[:1]), "2026-03-02")), "x")


def test_two_lines_stand_side_by_side():
    rows = [joint("J1", 12, "2026-03-02T08:00"), joint("B1", 20, "2026-03-03T08:00", line="branch")]
    found = record(rows)
    branch = found["alignment"].assign(line="branch", end_chainage_m=60.0)
    found["alignment"] = pd.concat([found["alignment"], branch], ignore_index=True)
    told = figures_of(work(found, "2026-03-04"))
    words = {t.text for t in ElementTree.fromstring(chart(told, "x")).iter(f"{SVG}text")}  # noqa: S314  # ours
    assert {"main", "branch"} <= words
    assert told.stages["of_m"].iloc[0] == 180.0


def test_a_chart_of_a_record_without_a_joint_can_be_drawn():
    assert "<svg" in chart(figures_of(work(record([]), "2026-03-04")), "x")


def test_the_crews_of_a_chart_can_be_told_apart_in_grey():
    rows = [
        joint(f"{c}{i}", 12 * i + 30 * n + 1, f"2026-03-02T{8 + i:02d}:00", crew=c)
        for n, c in enumerate("abcd")
        for i in (0, 1)
    ]
    root = ElementTree.fromstring(chart(figures_of(work(record(rows), "2026-03-02")), "x"))  # noqa: S314  # ours
    keyed = [g for g in root.iter(f"{SVG}g") if g.find(f"{SVG}text").text in "abcd"]
    forms = [[(p.get("stroke-width"), p.get("stroke-dasharray")) for p in g.iter(f"{SVG}path")] for g in keyed]
    assert len(forms) == 4
    assert len({str(form) for form in forms}) == 4


def test_the_png_is_the_chart(out):
    with Image.open(out / "time_chainage.png") as picture:
        assert picture.size[0] == 2400
        grey = np.asarray(picture.convert("L"), dtype=float)
        colours = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    assert (grey < 60).mean() > 0.003  # ink
    assert (grey > 250).mean() > 0.7  # paper
    for colour in CREWS[:3]:
        near = np.abs(colours.astype(int) - list(bytes.fromhex(colour[1:]))).max(axis=1) < 6
        assert near.sum() > 500, colour


# ---- the folder ------------------------------------------------------------------------------------------------------


def test_the_folder_holds_what_it_says_and_its_checksums_hold(out):
    assert {p.name for p in out.iterdir()} == {
        "progress.html", "joint_map.html", "time_chainage.svg", "time_chainage.png", "progress.json", "days.csv",
        "days_without_joints.csv", "stages.csv", "plan_and_actual.csv", "what_is_left.csv", "forecasts.csv",
        "tie_ins.csv", "SHA256SUMS",
    }  # fmt: skip
    subprocess.run(["sha256sum", "-c", "--quiet", "SHA256SUMS"], cwd=out, check=True)


def test_the_tables_say_what_the_document_says(out):
    told = json.loads((out / "progress.json").read_text(encoding="utf-8"))
    assert told == json.loads(run(SALTREACH, "--as-of", "2026-03-05", "--json").stdout)
    days = pd.read_csv(out / "days.csv", encoding="utf-8-sig")
    assert days["new_m"].sum() == pytest.approx(sum(row["new_m"] for row in told["days"]))
    assert list(days["day"].iloc[[0, -1]]) == ["2026-02-10", "2026-03-05"]
    plans = pd.read_csv(out / "plan_and_actual.csv", encoding="utf-8-sig")
    assert list(plans["crew"].fillna("")) == ["", "crew_a", "crew_b", "crew_c"]


def test_the_parts_of_what_is_left_stand_in_document_and_table(out):
    told = json.loads((out / "progress.json").read_text(encoding="utf-8"))["what_is_left"]
    assert [(row["of"], row["crew"]) for row in told] == [
        ("crew", "crew_a"), ("crew", "crew_b"), ("crew", "crew_c"), ("no plan", ""), ("line", ""),
    ]  # fmt: skip
    for row in told:
        assert row["along_m"] + row["at_tie_ins_m"] + row["in_bores_m"] == pytest.approx(row["left_m"], abs=0.002)
    table = pd.read_csv(out / "what_is_left.csv", encoding="utf-8-sig")
    assert table["left_m"].tolist() == [row["left_m"] for row in told]


def test_the_same_evening_gives_the_same_bytes(out, tmp_path):
    assert run(SALTREACH, "--as-of", "2026-03-05", "-o", tmp_path / "again").exit_code == 0
    assert (tmp_path / "again" / "SHA256SUMS").read_bytes() == (out / "SHA256SUMS").read_bytes()


def test_a_folder_of_ours_is_replaced_and_any_other_is_refused(out, tmp_path):
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    shutil.copytree(out, ours)
    (ours / "progress.html").write_text("old", encoding="utf-8")
    theirs.mkdir()
    (theirs / "letter.txt").write_text("mine", encoding="utf-8")
    assert run(SALTREACH, "-o", ours).exit_code == 0
    assert (ours / "progress.html").read_text(encoding="utf-8") != "old"
    result = run(SALTREACH, "-o", theirs)
    assert result.exit_code == 2
    assert "letter.txt" in result.stderr
    (ours / "note.txt").write_text("mine", encoding="utf-8")
    assert run(SALTREACH, "-o", ours).exit_code == 2
    assert (ours / "note.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("place", [".", "records", ".."])
def test_a_folder_that_overlaps_the_route_is_refused(place):
    with pytest.raises(OutputError, match="lie in one another"):
        outlet.refuse_unless_progress(SALTREACH / place, SALTREACH)


def test_a_hand_over_is_not_replaced_by_progress(handover):
    result = run(SALTREACH, "-o", handover)
    assert result.exit_code == 2
    assert "is no progress folder" in result.stderr


# ---- what changed ----------------------------------------------------------------------------------------------------


def test_since_a_hand_over_says_what_came_on_top(handover):
    result = run(SALTREACH, "--since", handover)
    assert result.exit_code == 0, result.output
    assert "Since saltreach, revision P01:\nnothing has changed" in result.stdout


def test_since_a_folder_that_is_no_hand_over_is_refused(tmp_path):
    assert run(SALTREACH, "--since", tmp_path).exit_code == 2


def test_changes_name_crews_stages_and_what_is_gone():
    first = [joint("J1", 12, "2026-03-02T08:00"), joint("J2", 24, "2026-03-02T09:00")]
    then = [first[0], joint("J3", 36, "2026-03-03T09:00", crew="b"), joint("J4", 48, "2026-03-03T10:00", crew="b")]
    old, new = (
        figures_of(work(record(rows, going_on=True), evening))
        for rows, evening in ((first, "2026-03-02"), (then, "2026-03-03"))
    )
    lines = change_lines(changes(old, new, "the last time"), new)
    assert lines == [
        "a: 0 joints more, -12 m newly covered",
        "b: 2 joints more, 36 m newly covered",
        "fused: 24 m, now 48 m",
        "placed: 24 m, now 48 m",
        "nothing outstanding: 24 m, now 48 m",
        "no longer among the joints made by this evening: J2",
    ]


def test_an_earlier_evening_than_that_of_the_hand_over_is_said(saltreach):
    told = figures(saltreach)
    early = figures_of(dataclasses.replace(told.work, evening=told.work.evening - 10))
    assert "P00 speaks of a later evening, 2026-03-20" in change_lines(changes(told, early, "P00"), early)


# ---- watching --------------------------------------------------------------------------------------------------------


def test_a_change_is_told_once_and_only_when_the_files_lie_still():
    watcher = Watcher({"a.csv": (1, 1)})
    half, whole = {"a.csv": (1, 1), "b.csv": (10, 2)}, {"a.csv": (1, 1), "b.csv": (90, 3)}
    assert [watcher.ready(now) for now in (half, whole, whole, whole)] == [[], [], ["new: b.csv"], []]
    assert [watcher.ready(now) for now in ({"b.csv": (90, 3)}, {"b.csv": (90, 3)})] == [[], ["gone: a.csv"]]
    assert difference(half, whole) == ["changed: b.csv"]


def test_half_written_and_hidden_files_are_not_seen(tmp_path):
    for name in ("a.csv", ".hidden", "~$a.xlsx", "b.csv.part", "c.tmp", "sub/d.csv", ".git/e.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("x", encoding="utf-8")
    assert set(seen(tmp_path)) == {"a.csv", "sub/d.csv"}


def test_a_file_that_cannot_be_read_is_told_and_watching_goes_on(tmp_path):
    told, looks = [], iter(range(9))

    def pause(_):
        if (n := next(looks)) == 8:
            raise KeyboardInterrupt
        if n in (0, 4):
            (tmp_path / f"{n}.csv").write_text("x", encoding="utf-8")

    def again(files):
        told.append(files)
        if len(told) == 1:
            raise OutputError([])

    with pytest.raises(KeyboardInterrupt):
        watch(tmp_path, again, told.append, before={}, pause=pause)
    assert [told[0], told[2]] == [["new: 0.csv"], ["new: 4.csv"]]
    assert isinstance(told[1], OutputError)


def test_the_command_watches_says_what_changed_and_ends_with_ctrl_c(tmp_path):
    rows = [f"J{i},2026-03-0{i} 10:00,{500000 + 12 * i},5250000,225" for i in range(1, 5)]
    route = make_route(
        tmp_path / "route", records=csv_of(*rows[:2]), toml_changes={"route.as_of": None, "route.complete": False}
    )
    words = [sys.executable, "-u", "-m", "asbuilt", "progress", str(route), "-o", str(tmp_path / "out"), "--watch"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as running:
        told = []

        def until(word):
            for line in running.stdout:
                told.append(line.rstrip())
                if word in line:
                    return

        until("watching; Ctrl-C ends it")
        (route / "records" / "a.csv").write_text(csv_of(*rows), encoding="utf-8")
        until("Written")
        time.sleep(0.2)
        running.send_signal(signal.SIGINT)
        until("ended")
        assert running.wait(20) == 0
    text = "\n".join(told)
    assert "changed: records/a.csv" in text
    assert "a: 2 joints more, 24 m newly covered" in text
    assert json.loads((tmp_path / "out" / "progress.json").read_text(encoding="utf-8"))["joints"] == 4
