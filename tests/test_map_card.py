"""The card of a joint: its bars, its positions and their copies, its neighbours, its reasons. All data is invented."""

import dataclasses
import re
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyproj
import pytest
from playwright.sync_api import Page

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, PHONE, card, find, keep, until
from tests.map_record import CRS, JUMPING, invented, made

NAN = float("nan")
BARS = (  # check, value, low, high, unit, verdict
    ("heater_temperature", 221.5, 210, 230, "°C", "in window"),
    ("soak_time", 600, 600, NAN, "s", "in window"),
    ("cooling_time", 30.25, NAN, 20.0, "min", "out of window"),
    ("fusion_pressure", 0.09, 0.1, 0.2, "MPa", "out of window"),
    ("soak_pressure", 30, 0.1, 0.2, "MPa", "out of window"),
    ("drag_pressure", -30, 0.1, 0.2, "MPa", "out of window"),
    ("bead_pressure", 0.1500001, NAN, 0.15, "MPa", "out of window"),
    ("ramp_time", 0.25, NAN, 0, "s", "out of window"),
    ("removal_time", 8, 8, 8, "s", "in window"),
    ("bead_width", NAN, 10, 20, "mm", "not recorded"),
    ("initial_bead", 3, NAN, NAN, "mm", "cannot tell"),
)
# By hand. Both limits: the window fills 100 to 300 of 400, x = 100 + 200 (value - low) / (high - low). One limit: it
# stands at 200, and x = 200 + 200 (value - limit) / |limit|, or / 1 where it is 0. Beyond 4 and 396 an arrow.
DRAWN = {  # trough from, to; needle's tip
    "Heater temperature": (100, 300, 215.0),
    "Soak time": (200, 400, 200.0),
    "Cooling time": (0, 200, 302.5),
    "Fusion pressure": (100, 300, 80.0),
    "Soak pressure": (100, 300, 400.0),
    "Drag pressure": (100, 300, 0.0),
    "Bead-up pressure": (0, 200, 200.0),
    "Ramp time": (0, 200, 250.0),
    "Heater removal time": (200, 202, 200.0),
}
WORDS = (  # check, verdict, required, cause
    ("operator", "in window", True, "Odd B, listed from 2025-04-21 to 2026-04-20"),
    ("machine", "out of window", True, "calibration of E9 ended on 2026-04-22, the joint was made on 2026-04-23"),
    ("visual", "in window", True, "recorded 'tidy', a word that passes"),
    ("end_state", "in window", True, "end state 'ok'"),
    ("actual_time", "not recorded", True, ""),
    ("fitting_code", "not recorded", False, ""),
)


def told() -> AsBuilt:
    """The invented record in which J0030 has checks of every kind, and J0031 checks in words."""
    record = invented()
    joints = record.tables["joints"].copy()
    joints.loc[30, ["operator", "machine", "visual"]] = ["Odd B", "E9", "tidy"]
    joints.loc[29, ["decision", "reasons"]] = [
        "accepted by N. N. on 2026-03-19: re-checked",
        "First. Second 1.5 m. Third <b>.",
    ]
    name, value, low, high, unit, verdict = (list(column) for column in zip(*BARS, strict=True))
    numbers = made(
        tables.WINDOW_CHECKS, len(BARS), joint_id=["J0030"] * len(BARS), check=name, value=value, low=low, high=high,
        unit=unit, verdict=verdict, required=[True] * len(BARS), source=["Invented: table 1"] * len(BARS),
    )  # fmt: skip
    name, verdict, required, cause = (list(column) for column in zip(*WORDS, strict=True))
    words = made(
        tables.WINDOW_CHECKS, len(WORDS), joint_id=["J0031"] * len(WORDS), check=name, verdict=verdict,
        required=required, cause=cause, source=["invented"] * len(WORDS),
    )  # fmt: skip
    done = {"joints": tables.conform(joints, tables.JOINTS), "window_checks": pd.concat([numbers, words])}
    shift = dataclasses.replace(record.wgs84, latitude=(1.25e-5, 0.0, 0.0), longitude=(-2.5e-6, 1e-5, 0.0))
    return dataclasses.replace(record, tables={**record.tables, **done}, wgs84=shift)


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return told()


@pytest.fixture(scope="module")
def path(record, tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "map.html"
    webmap.write_map(record, path)
    return path


@pytest.fixture(scope="module")
def desk(opener, path) -> Page:
    return opener(path, DESK, permissions=["clipboard-read", "clipboard-write"])


def checks(page: Page) -> list[dict[str, Any]]:
    """The checks of the card as they are shown: texts, and what the bar of each is made of."""
    return list(
        page.locator("#card ul.checks > li").evaluate_all(
            """items => items.map(item => {
              const text = what => { const found = item.querySelector(what); return found && found.textContent; };
              const bar = item.querySelector("svg"), needle = bar && bar.querySelector("polygon");
              const numbers = (part, names) => names.map(name => Number(part.getAttribute(name)));
              return {what: text(".what"), verdict: text(".verdict-word"), value: text(".value"),
                window: text(".window"),
                cause: text(".cause"), standsOut: item.classList.contains("stands-out"), bar: bar && {
                  trough: numbers(bar.querySelector("rect"), ["x", "width"]),
                  edges: Array.from(bar.querySelectorAll(".edge"), edge => Number(edge.getAttribute("x1"))),
                  needle: needle.getAttribute("points").split(" ").map(point => point.split(",").map(Number)),
                  out: needle.classList.contains("out"), colour: getComputedStyle(needle).fill,
                }};
            })"""
        )
    )


# ---- bars ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bars(desk) -> dict[str, dict[str, Any]]:
    find(desk, "J0030")
    keep(desk, "card-bars")
    return {one["what"]: one for one in checks(desk)}


def test_each_check_with_a_value_and_a_limit_has_a_bar(bars):
    assert len(bars) == len(BARS)
    assert {name for name, one in bars.items() if one["bar"]} == set(DRAWN)
    assert [one["verdict"] for one in bars.values()] == [b[5] for b in BARS]


@pytest.mark.parametrize("name", DRAWN)
def test_the_needle_stands_where_the_value_lies_in_the_window(bars, name):
    bar, (low, high, tip) = bars[name]["bar"], DRAWN[name]
    start, width = bar["trough"]
    assert (start, start + width) == pytest.approx((low, high))
    assert bar["needle"][2][0] == pytest.approx(tip, abs=0.01)
    assert all(0 <= x <= 400 and 0 <= y <= 20 for x, y in bar["needle"])


def test_limits_are_edges_and_an_open_side_has_none(bars):
    edges = {name: one["bar"]["edges"] for name, one in bars.items() if one["bar"]}
    assert edges["Heater temperature"] == [100, 300]
    assert edges["Soak time"] == edges["Cooling time"] == edges["Ramp time"] == [200]
    assert edges["Heater removal time"] == [200, 200]


def test_a_value_far_off_is_an_arrow_at_the_edge_and_one_near_is_a_needle_from_above(bars):
    right, left = bars["Soak pressure"]["bar"]["needle"], bars["Drag pressure"]["bar"]["needle"]
    assert right == [[390, 4], [390, 16], [400, 10]]
    assert left == [[10, 4], [10, 16], [0, 10]]
    assert bars["Heater temperature"]["bar"]["needle"] == [[211, 1], [219, 1], [215, 10]]


def test_a_needle_out_of_window_looks_different_and_its_check_stands_out(bars):
    out = {name for name, one in bars.items() if one["bar"] and one["bar"]["out"]}
    assert out == {one["what"] for one in bars.values() if one["verdict"] == "out of window"}
    drawn = [(one["verdict"] == "out of window", one["bar"]["colour"]) for one in bars.values() if one["bar"]]
    colours = {is_out: {colour for is_it, colour in drawn if is_it == is_out} for is_out in (True, False)}
    assert len(colours[True]) == len(colours[False]) == 1
    assert colours[True] != colours[False]
    assert {name for name, one in bars.items() if one["standsOut"]} == out | {"Bead width"}


def test_value_and_window_are_written_beside_the_bar(bars):
    assert (bars["Heater temperature"]["value"], bars["Heater temperature"]["window"]) == (
        "221.5 °C",
        "window 210 to 230 °C",
    )
    assert (bars["Bead-up pressure"]["value"], bars["Bead-up pressure"]["window"]) == (
        "0.1500001 MPa",
        "window at most 0.15 MPa",
    )
    assert bars["Soak time"]["window"] == "window at least 600 s"
    assert bars["Bead width"]["value"] == "not recorded"
    assert [one["window"] for one in bars.values() if one["value"] == "3 mm"] == ["no window"]


def test_the_bars_fill_the_card_on_a_phone(opener, path):
    page = opener(path, PHONE)
    find(page, "J0030")
    page.click("#thumb-card")
    keep(page, "card-phone")
    widths = page.locator("#card svg.bar").evaluate_all("bars => bars.map(bar => bar.getBoundingClientRect().width)")
    assert len(widths) == len(DRAWN)
    assert all(180 < width <= 390 for width in widths)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert page.evaluate("document.activeElement.textContent") == "Joint J0030"


# ---- words -----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def words(desk) -> list[dict[str, Any]]:
    find(desk, "J0031")
    keep(desk, "card-words")
    return checks(desk)


def test_what_was_recorded_in_words_stands_beside_what_it_is_held_against(words):
    assert [(w["what"], w["value"], w["window"], w["verdict"]) for w in words] == [
        ("Operator", "Odd B", "what the list allows", "in window"),
        ("Machine", "E9", "the listed dates", "out of window"),
        ("Visual", "tidy", "words that pass", "in window"),
        ("End state", "end state 'ok'", "words that pass", "in window"),
        ("Actual time", "not recorded", "no window", "not recorded"),
    ]
    assert [w["bar"] for w in words] == [None] * 5


def test_a_cause_is_said_once(words, desk):
    assert [w["cause"] for w in words] == [*(cause for *_, cause in WORDS[:3]), None, None]
    assert card(desk).count("end state 'ok'") == 1


def test_a_missing_code_that_nobody_needs_is_named_in_the_note(words, desk):
    assert "Not recorded and not required: fitting code." in card(desk)
    assert len(words) == len(WORDS) - 1


# ---- positions -------------------------------------------------------------------------------------------------------


def forms(page: Page) -> dict[str, str]:
    """The positions of the card: the name of each frame and what is said in it."""
    return dict(
        page.locator("#card .pairs > div:has(.copy)").evaluate_all(
            """rows => rows.map(row => ["dt", ".copied > span"].map(what => row.querySelector(what).textContent))"""
        )
    )


def test_a_position_is_told_in_each_frame_by_its_name(record, desk):
    find(desk, "J0040")
    told, joint = forms(desk), record.tables["joints"].iloc[39]
    frame = "EPSG:7855, GDA2020 / MGA zone 55 (metre)"
    assert list(told) == ["GDA2020", "GDA2020, degrees, minutes, seconds", frame, "WGS 84, for a phone"]
    to = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    longitude, latitude = to.transform(joint["geometry"].x, joint["geometry"].y)
    assert told["GDA2020"] == f"{latitude:.7f}, {longitude:.7f}"
    parts = [float(x) for x in re.findall(r"[\d.]+", told["GDA2020, degrees, minutes, seconds"])]
    south, east = (d + m / 60 + s / 3600 for d, m, s in (parts[:3], parts[3:]))
    assert (-south, east) == pytest.approx((latitude, longitude), abs=1e-7)
    assert re.fullmatch(
        r"\d+° \d\d′ \d\d\.\d{3}″ S, \d+° \d\d′ \d\d\.\d{3}″ E", told["GDA2020, degrees, minutes, seconds"]
    )
    assert told[frame] == f"{joint['geometry'].x:.2f} E, {joint['geometry'].y:.2f} N"
    (lon,), (lat,) = record.wgs84.applied(np.array([longitude]), np.array([latitude]))
    phone = [float(x) for x in told["WGS 84, for a phone"].split(", ")]
    assert phone == pytest.approx([lat, lon], abs=1.1e-7)
    assert record.title.wgs84 in card(desk)


@pytest.mark.parametrize("reached", [True, False])
def test_a_frame_that_is_wgs84_or_cannot_reach_it_has_no_position_for_a_phone(opener, reached):
    record = invented()
    assert record.wgs84.latitude == record.wgs84.longitude == (0, 0, 0)
    title = record.title if reached else dataclasses.replace(record.title, wgs84="It cannot be reached (invented).")
    page = opener(dataclasses.replace(record, wgs84=record.wgs84 if reached else None, title=title), DESK)
    find(page, "J0040")
    assert len(forms(page)) == 3
    assert "WGS 84, for a phone" not in card(page)
    assert title.wgs84 in card(page)


def test_a_copy_holds_what_is_shown(desk):
    find(desk, "J0040")
    buttons = desk.locator("#card .copy")
    for i, text in enumerate(forms(desk).values()):
        buttons.nth(i).click()
        until(desk, "i => document.querySelectorAll('#card .copy')[i].textContent === 'Copied'", i)
        assert desk.evaluate("navigator.clipboard.readText()") == text
    assert buttons.nth(0).get_attribute("aria-label") == "Copy the position in GDA2020"


REFUSED = """
navigator.clipboard.writeText = () => Promise.reject(new DOMException("no", "NotAllowedError"));
window.asked = [];
document.execCommand = (name) => { window.asked.push([name, String(document.activeElement.value)]); return %s; };
"""


def test_where_the_clipboard_is_refused_the_older_way_is_tried(opener, path):
    page = opener(path, DESK, script=REFUSED % "true")
    find(page, "J0040")
    page.click("#card .copy >> nth=0")
    until(page, "() => document.querySelector('#card .copy').textContent === 'Copied'")
    assert page.evaluate("asked") == [["copy", forms(page)["GDA2020"]]]
    assert page.locator("textarea").count() == 0


def test_where_nothing_may_copy_the_text_is_left_selected(opener, path):
    page = opener(path, DESK, script=REFUSED % "false")
    find(page, "J0040")
    page.click("#card .copy >> nth=0")
    until(page, "() => document.querySelector('#card .copy').textContent === 'Copy by hand'")
    keep(page, "card-copy-by-hand")
    selected = (
        "() => { const box = document.activeElement; return box.value.slice(box.selectionStart, box.selectionEnd); }"
    )
    assert page.evaluate(selected) == forms(page)["GDA2020"]
    assert page.is_visible("textarea")


def test_a_copy_without_any_permission_is_never_called_a_copy_that_it_is_not(opener, path):
    """As a browser has it by itself: a click may write. What the button says must be so."""
    page = opener(path, DESK)
    find(page, "J0040")
    page.click("#card .copy >> nth=2")
    until(page, "() => document.querySelectorAll('#card .copy')[2].textContent !== 'Copy'")
    said = page.inner_text("#card .copy >> nth=2")
    page.fill("#find", "")
    page.press("#find", "Control+v")
    assert (said, page.input_value("#find")) == ("Copied", list(forms(page).values())[2])
    page.fill("#find", "")


# ---- neighbours, reasons, decision -----------------------------------------------------------------------------------


def test_neighbours_stand_with_their_distances_and_a_gap_between_is_said(record, desk):
    line = record.tables["joints"].loc[lambda t: t["in_line"] & t["geometry"].notna()].sort_values("chainage_m")
    for at in (0, 19, 20, len(line) - 1):
        find(desk, line["joint_id"].iloc[at])
        wanted = []
        for i, form in ((at - 1, "← {}, {:.1f} m{}"), (at + 1, "{}, {:.1f} m{} →")):
            if 0 <= i < len(line):
                far = abs(line["chainage_m"].iloc[i] - line["chainage_m"].iloc[at])
                wanted.append(form.format(line["joint_id"].iloc[i], far, " (gap)" if far > 18 else ""))
        assert desk.locator("#card .neighbours button").all_inner_texts() == wanted
    assert len(wanted) == 1  # the last has one neighbour


DEEP = (
    "depth 1.62 m from the ground down to the pipe, as recorded (as found on 2026-03-11); the ground may have changed"
    " since",
    "cover 1.51 m: ground 12.31 m, crown 10.80 m, as recorded (as-laid shot on 2026-03-02); the ground may have changed"
    " since",
)


def test_the_card_tells_depth_and_cover_as_find_does(opener):
    """The evening of 10 March in UTC is the next morning at Hobart: a day is that of the clock of the route."""
    record = told()
    zone = ZoneInfo("Australia/Hobart")
    title = dataclasses.replace(record.title, as_of=record.title.as_of.astimezone(zone))
    seen = [pd.Timestamp("2026-03-02T04:00:00Z"), pd.Timestamp("2026-03-10T20:00:00Z")]
    own = record.tables["positions"].iloc[[11, 11]]
    more = own.assign(
        method=["as-laid shot", "as found"], seen_at=seen, depth_m=[NAN, 1.62], ground_m=[12.31, NAN],
        elevation_m=[10.80, NAN], elevation_of=["crown", ""],
    )  # fmt: skip
    positions = tables.conform(pd.concat([record.tables["positions"], more]), tables.POSITIONS)
    page = opener(dataclasses.replace(record, title=title, tables={**record.tables, "positions": positions}), DESK)
    find(page, "J0012")
    said = page.locator("#card .depth").all_inner_texts()
    assert said == [text[0].upper() + text[1:] for text in DEEP]
    find(page, "J0013")
    assert page.locator("#card .depth").count() == 0
    assert "Depth and covernot recorded" in card(page)


def test_reasons_stand_one_to_a_line_and_the_decision_beside_the_verdict(desk):
    find(desk, "J0030")
    assert desk.locator("#card .reasons li").all_inner_texts() == ["First.", "Second 1.5 m.", "Third <b>."]
    assert "Decision: accepted by N. N. on 2026-03-19: re-checked" in card(desk)
    assert desk.locator("#card .verdict").all_inner_texts()[0].startswith("Fusion: ")
    find(desk, "J0040")
    assert "Decision: none" in card(desk)


def test_each_verdict_of_the_card_has_its_sign(record, desk):
    for row in (2, 3, 5, 10):
        joint = record.tables["joints"].iloc[row]
        find(desk, joint["joint_id"])
        colour = desk.evaluate(
            """() => { const sign = document.querySelector("#card .verdict canvas");
              const middle = sign.getContext("2d").getImageData(sign.width / 2, sign.height / 2, 1, 1).data;
              return Array.from(middle).slice(0, 3); }"""
        )
        assert bytes(colour).hex().upper() == look.FUSION[joint["fusion_verdict"]].fill[1:]
        assert f"Fusion: {joint['fusion_verdict']}" in card(desk)
        assert f"Position: {joint['position_verdict']}" in card(desk)


def test_the_card_of_a_station_in_an_overlap_of_labels_is_that_of_the_place(opener):
    record = invented(stationing=JUMPING)
    page = opener(record, DESK)
    find(page, "0+350")  # ahead of the equation 0+300 = 0+350
    (point,) = [record.tables["alignment"]["geometry"].iloc[0].interpolate(300)]
    to = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    longitude, latitude = to.transform(point.x, point.y)
    found = re.search(r"(-\d+\.\d{7}), (\d+\.\d{7})", card(page))
    assert (float(found[1]), float(found[2])) == pytest.approx((latitude, longitude), abs=2e-7)
    assert "Station 0+350.00" in card(page)
