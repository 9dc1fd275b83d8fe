"""The tape under the map, moved as a hand moves it. In a browser, without a network; all data is invented here.

Places are checked against shapely's interpolation along the line and pyproj's transformation; the scale against the
resolution of a web map's zoom level (equator of 2 pi 6378137 m on 256 pixels at zoom 0; common practice, no source).
"""

import dataclasses
import itertools
import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from playwright.sync_api import Page

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from tests import map_record
from tests.map_pages import DESK, DEVICES, PHONE, Open, card, chosen, colour_of
from tests.map_record import JUMPING, geographic, invented, made

TALLEST = {"desk": 172, "phone": 190}  # pixels, of the whole block
PAPER = "#F4F2EC"
ZOOM = 18

# What the canvas of the tape was asked to write, with the left edge of each text: the last drawing only.
LISTENING = """
  window.written = [];
  const original = CanvasRenderingContext2D.prototype.fillText, clear = CanvasRenderingContext2D.prototype.clearRect;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
    if (this.canvas.className === "tape-strip") window.written.push([text, x, y]);
    return original.apply(this, arguments);
  };
  CanvasRenderingContext2D.prototype.clearRect = function () {
    if (this.canvas.className === "tape-strip") window.written = [];
    return clear.apply(this, arguments);
  };
"""


# ---- the record ------------------------------------------------------------------------------------------------------


def busy(joints: int = 60) -> AsBuilt:
    """Return the invented record with ten joints a day, a string, a bore, a tie-in, and a section tested twice."""
    record = invented(joints)
    frame = record.tables["joints"].copy()
    frame["fused_local"] = [f"2026-03-{10 + i // 10:02d}T14:32:00+11:00" for i in range(len(frame))]
    frame.loc[[9], "kind"] = "tie-in"
    frame.loc[range(10), "string"] = "S1"
    line = record.tables["alignment"]["geometry"].iloc[0]
    changed = {"joints": frame, "strings": _strings(line), "test_sections": _sections(line)}
    return dataclasses.replace(record, tables={**record.tables, **changed})


def _reaches(line: shapely.LineString, ends: list[tuple[float, float]]) -> dict[str, list[Any]]:
    low, high = zip(*ends, strict=True)
    geometry = [shapely.ops.substring(line, a, b) for a, b in ends]
    length = [b - a for a, b in ends]
    at = {"from_chainage_m": list(low), "to_chainage_m": list(high), "length_m": length, "geometry": geometry}
    return {"line": ["main"] * len(ends)} | at


def _strings(line: shapely.LineString) -> pd.DataFrame:
    named = {"string": ["S1", "Marsh bore"], "method": ["strung beside trench", "bore"], "joints_n": [10, 0]}
    return made(tables.STRINGS, 2, **named, **_reaches(line, [(12.0, 120.0), (130.0, 230.0)]))


def _sections(line: shapely.LineString) -> pd.DataFrame:
    said = {"section": ["T1", "T1"], "result": ["failed", "passed"], "tested_on": ["2026-03-15", "2026-03-17"]}
    return made(tables.TEST_SECTIONS, 2, **said, **_reaches(line, [(0.0, 240.0)] * 2))


def branched() -> AsBuilt:
    """Return the invented record with a second line, 300 m beside the first, and a joint on it each 12 m."""
    record, other = invented(), invented()
    moved = {name: _moved(other.tables[name]) for name in ("alignment", "alignment_vertices", "chainage_marks")}
    joints = _moved(other.tables["joints"].iloc[:10]).assign(joint_id=[f"K{i:04d}" for i in range(10)])
    longitude, latitude = geographic(list(joints["geometry"]))
    moved["joints"] = joints.assign(longitude=longitude, latitude=latitude)
    more = {name: pd.concat([record.tables[name], frame], ignore_index=True) for name, frame in moved.items()}
    return dataclasses.replace(record, tables={**record.tables, **more})


def _moved(frame: pd.DataFrame) -> pd.DataFrame:
    out = frame.assign(line="branch")
    if "geometry" in out:
        out["geometry"] = [shapely.affinity.translate(one, -300.0, 300.0) for one in out["geometry"]]
    return out


def line_of(record: AsBuilt, name: str = "main") -> shapely.LineString:
    found = record.tables["alignment"]
    return found.loc[found["line"] == name, "geometry"].iloc[0]


def chainage_of(record: AsBuilt, joint_id: str) -> float:
    joints = record.tables["joints"].set_index("joint_id")
    return float(joints.loc[joint_id, "chainage_m"])


# ---- the page --------------------------------------------------------------------------------------------------------


def open_tape(opened: Open, record: AsBuilt, device: dict[str, Any]) -> Page:
    page = opened(record, device, script=LISTENING)
    page.locator(".tape-strip").scroll_into_view_if_needed()
    return page


def drawn(page: Page) -> None:
    """Wait until what was asked for is drawn: two frames, for a drawing is asked for in the first."""
    page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))"
    )


def tape(page: Page) -> dict[str, Any]:
    drawn(page)
    return page.evaluate("window.asbuilt.tape()")


def words(page: Page) -> str:
    drawn(page)
    return page.locator(".tape-words").text_content() or ""


def spoken(page: Page) -> str:
    drawn(page)
    return page.locator(".tape-strip").get_attribute("aria-valuetext") or ""


def place(record: AsBuilt, chainage: float, line: str = "main") -> list[float]:
    """Latitude and longitude in WGS 84 of a chainage, as shapely and pyproj have it."""
    longitude, latitude = geographic([line_of(record, line).interpolate(chainage)])
    if record.wgs84 is not None:
        longitude, latitude = record.wgs84.applied(np.asarray(longitude), np.asarray(latitude))
    return [float(latitude[0]), float(longitude[0])]


def go(page: Page, record: AsBuilt, chainage: float, line: str = "main") -> None:
    """Move the map itself to a chainage."""
    script = "([at, zoom]) => window.map_of_joints.setView(at, zoom, { animate: false })"
    page.evaluate(script, [place(record, chainage, line), ZOOM])
    drawn(page)


def centre_off(page: Page, record: AsBuilt, chainage: float, line: str = "main") -> float:
    """How far the map's centre is from a chainage, in pixels."""
    off = """(at) => {
      const map = window.map_of_joints, zoom = map.getZoom();
      return map.project(at, zoom).distanceTo(map.project(map.getCenter(), zoom));
    }"""
    return float(page.evaluate(off, place(record, chainage, line)))


def spot(page: Page, chainage: float, lane: str) -> tuple[float, float]:
    """The place in the window of a chainage in a lane; of a joint's sign in the lane of joints."""
    now, box = tape(page), page.locator(".tape-strip").bounding_box()
    at = next(one for one in now["lanes"] if one["name"] == lane)
    x = box["x"] + math.floor(box["width"]) / 2 + (chainage - now["chainage"]) / now["metresPerPixel"]
    return x, box["y"] + at["top"] + 10.5


def colour(page: Page, x: float, y: float) -> str:
    return colour_of(page, ".tape-strip", x, y)


def drag(page: Page, start: tuple[float, float], by: float) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    for part in (0.3, 0.7, 1.0):
        page.mouse.move(start[0] + by * part, start[1])
        drawn(page)
    page.mouse.up()
    drawn(page)


def written(page: Page) -> dict[str, float]:
    drawn(page)
    return {text: x for text, x, _ in page.evaluate("window.written")}


def verdicts(record: AsBuilt, joint_id: str) -> str:
    row = record.tables["joints"].set_index("joint_id").loc[joint_id]
    return f"fusion {row['fusion_verdict']}, position {row['position_verdict']}"


# ---- the tape and the map, each leading the other --------------------------------------------------------------------


@DEVICES
@pytest.mark.parametrize("chainage", [96.0, 401.5, 700.0])
def test_the_tape_follows_the_map(opened, device, chainage):
    record = invented()
    page = open_tape(opened, record, device)
    go(page, record, chainage)
    now, latitude = tape(page), place(record, chainage)[0]
    assert now["chainage"] == pytest.approx(chainage, abs=0.6)  # the map stands on whole pixels of 0.44 m
    scale = 2 * math.pi * 6378137 * math.cos(math.radians(latitude)) / (256 * 2**ZOOM)
    assert now["metresPerPixel"] == pytest.approx(scale, rel=1e-4)
    assert now["from"] <= chainage <= now["to"] <= line_of(record).length + 0.01


@pytest.mark.parametrize("by", [-180.0, 140.0])
def test_a_drag_moves_the_map_along_the_line(opened, by):
    record = invented()
    page = open_tape(opened, record, DESK)
    go(page, record, 350.0)
    before = tape(page)
    drag(page, spot(page, 350.0, "station"), by)
    expected = before["chainage"] - by * before["metresPerPixel"]
    assert tape(page)["chainage"] == pytest.approx(expected, abs=0.01)
    assert centre_off(page, record, expected) < 1.5  # the map drops parts of a pixel, in x and in y
    assert page.evaluate("window.asbuilt.zoom()") == ZOOM
    assert chosen(page) is None


def test_a_drag_ends_at_the_ends_of_the_line(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    go(page, record, 30.0)
    drag(page, spot(page, 30.0, "station"), 400.0)
    assert tape(page)["chainage"] == 0
    assert centre_off(page, record, 0.0) < 1.5


def test_a_finger_drags_the_tape(opened):
    record = invented()
    page = open_tape(opened, record, PHONE)
    go(page, record, 350.0)
    before, (x, y) = tape(page), spot(page, 350.0, "station")
    session = page.context.new_cdp_session(page)
    for kind, at in (("touchStart", x), ("touchMove", x - 40), ("touchMove", x - 90)):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": at, "y": y}]})
        drawn(page)
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expected = before["chainage"] + 90 * before["metresPerPixel"]
    assert tape(page)["chainage"] == pytest.approx(expected, abs=0.01)
    assert centre_off(page, record, expected) < 1.5
    assert page.locator(".tape-strip").evaluate("strip => getComputedStyle(strip).touchAction") == "none"
    assert page.evaluate("getComputedStyle(document.body).touchAction") == "auto"


@pytest.mark.parametrize("part", [0.25, 0.8])
def test_a_tap_on_the_overview_goes_there(opened, part):
    record = invented()
    page = open_tape(opened, record, DESK)
    go(page, record, 350.0)
    box = page.locator(".tape-whole").bounding_box()
    page.mouse.click(box["x"] + part * box["width"], box["y"] + 20)
    length = line_of(record).length
    assert tape(page)["chainage"] == pytest.approx(part * length, abs=0.02 * length)
    assert centre_off(page, record, tape(page)["chainage"]) < 1.5
    assert box["height"] == 44


def test_of_two_lines_the_one_near_the_centre_is_shown(opened):
    record = branched()
    page = open_tape(opened, record, DESK)
    go(page, record, 200.0, "branch")
    assert tape(page)["line"] == "branch"
    assert page.locator(".tape-line select").input_value() == "branch"
    assert page.locator(".tape-line select").bounding_box()["height"] >= 44
    go(page, record, 300.0)
    assert tape(page)["line"] == "main"
    page.select_option(".tape-line select", "branch")
    now = tape(page)
    assert now["line"] == "branch"
    assert centre_off(page, record, now["chainage"], "branch") < 1.5


def test_one_line_asks_for_no_choice(opened):
    assert open_tape(opened, invented(), DESK).locator(".tape-line").count() == 0


# ---- what is drawn ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [2, 3, 5, 7])
def test_a_joint_has_the_colour_of_its_verdict(opened, number):
    record = invented()
    page = open_tape(opened, record, DESK)
    row = record.tables["joints"].iloc[number]
    go(page, record, row["chainage_m"] + 40)  # away from the needle
    assert colour(page, *spot(page, row["chainage_m"], "joints")) == look.FUSION[row["fusion_verdict"]].fill
    assert colour(page, *spot(page, row["chainage_m"] + 6, "joints")) == PAPER


def test_labels_jump_at_a_chainage_equation(opened):
    record = invented(stationing=JUMPING)  # 300 back = 350 ahead
    page = open_tape(opened, record, DESK)
    go(page, record, 280.0)
    now, seen = tape(page), written(page)
    middle = math.floor(page.locator(".tape-strip").bounding_box()["width"]) / 2
    assert "0+300 = 0+350" in seen
    assert seen["0+450"] == pytest.approx(middle + (400 - now["chainage"]) / now["metresPerPixel"] + 4, abs=0.1)
    assert seen["0+250"] == pytest.approx(middle + (250 - now["chainage"]) / now["metresPerPixel"] + 4, abs=0.1)
    go(page, record, 299.0)
    assert words(page).startswith("0+29")
    go(page, record, 302.0)
    assert words(page).startswith("0+35")


@DEVICES
def test_the_needle_runs_through_no_word_of_the_axis(opened, device):
    """Along the line past the equation, at three scales: its words are whole, and clear of needle and of each other."""
    record = invented(stationing=JUMPING)  # 300 back = 350 ahead
    page = open_tape(opened, record, device)
    width = math.floor(page.locator(".tape-strip").bounding_box()["width"])
    told = 0
    for zoom in (15, 16, 18):
        for chainage in np.arange(200.0, 400.0, 17.0):
            go(page, record, chainage)
            page.evaluate("zoom => window.map_of_joints.setZoom(zoom, { animate: false })", zoom)
            drawn(page)
            labels = sorted(ends_of(page))
            assert all(right < width / 2 - 6 or left > width / 2 + 6 for left, right, _ in labels), labels
            assert all(a[1] < b[0] for a, b in itertools.pairwise(labels)), labels
            told += {"0+300 = 0+350", "0+300 ="} & {text for _, _, text in labels} != set()
            strokes = width / 2 + (300.0 - tape(page)["chainage"]) / tape(page)["metresPerPixel"]
            stands_alone = any(text in ("0+300 = 0+350", "0+300 =") for _, _, text in labels)
            assert not stands_alone or 0 <= strokes <= width
    assert told > 20


def ends_of(page: Page) -> list[tuple[float, float, str]]:
    """Left and right edge of each word in the lane of the axis, with the word; an equation's are bold."""
    found = page.evaluate(
        """() => {
          const c = document.createElement("canvas").getContext("2d");
          const plain = document.querySelector(".tape-strip").getContext("2d").font.replace(/^(600|bold) /, "");
          return window.written.filter(([text, x, y]) => /\\d\\+\\d/.test(text) && y < 16).map(([text, x]) => {
            c.font = (text.includes("=") ? "600 " : "") + plain;
            return [x, x + c.measureText(text).width, text];
          });
        }"""
    )
    return [(left, right, text) for left, right, text in found]


def test_on_a_phone_the_whole_line_tells_more_than_the_equation(opened, saltreach):
    page = open_tape(opened, saltreach, PHONE)
    texts = {text for _, _, text in ends_of(page)}
    assert {"1+800 =", "1+850"} <= texts or "1+800 = 1+850" in texts
    assert [text for text in texts if text.endswith("+000")] != []


def test_a_short_string_and_a_short_section_have_their_names(opened, saltreach):
    page = open_tape(opened, saltreach, PHONE)
    seen = written(page)
    assert {"S1", "TS-1", "TS-2", "TS-3"} <= set(seen)  # not their results, for which there is no room
    now = tape(page)
    s1 = saltreach.tables["strings"].set_index("string").loc["S1"]
    width = math.floor(page.locator(".tape-strip").bounding_box()["width"])
    end = width / 2 + (s1["to_chainage_m"] - now["chainage"]) / now["metresPerPixel"]
    assert end < seen["S1"] < end + 12  # beside the reach, which is shorter than its name


def test_no_label_is_cut_at_the_edges(opened):
    record = invented()
    page = open_tape(opened, record, PHONE)
    width = math.floor(page.locator(".tape-strip").bounding_box()["width"])
    lengths = """texts => {
      const c = document.querySelector(".tape-strip").getContext("2d");
      return texts.map((one) => c.measureText(one).width);
    }"""
    seen = 0
    for chainage in np.arange(100.0, 160.0, 7.0):
        go(page, record, chainage)
        labels = {text: x for text, x in written(page).items() if text.startswith(("0+", "J0"))}
        ends = page.evaluate(lengths, list(labels))
        names = (
            page.evaluate("document.querySelector('.tape-strip').getContext('2d').measureText('station').width") + 14
        )
        assert all(x > names and x + length < width + 0.5 for x, length in zip(labels.values(), ends, strict=True))
        seen += len(labels)
    assert seen > 30


def test_strings_bores_and_sections_are_told(opened):
    page = open_tape(opened, busy(), DESK)
    go(page, busy(), 120.0)
    assert [one["name"] for one in tape(page)["lanes"]] == ["station", "joints", "strings", "tests", "no place"]
    seen = written(page)
    assert {"S1", "Marsh bore", "no place: 1"} <= set(seen)
    assert "T1: failed 15 March 2026, then passed 17 March 2026" in seen  # the second test hides no first


def test_lanes_without_content_are_left_out(opened):
    record = invented()
    bare = {
        name: tables.empty(table)
        for name, table in (("strings", tables.STRINGS), ("test_sections", tables.TEST_SECTIONS))
    }
    page = open_tape(opened, dataclasses.replace(record, tables={**record.tables, **bare}), DESK)
    assert [one["name"] for one in tape(page)["lanes"]] == ["station", "joints", "no place"]


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_the_block_is_not_taller_than_it_may_be(opened, device):
    page = open_tape(opened, busy(), DESK if device == "desk" else PHONE)
    assert page.locator("#tape").bounding_box()["height"] <= TALLEST[device]
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_text_is_large_where_the_page_is_narrow(opened):
    fonts = """() => { const strip = document.querySelector(".tape-strip"); return strip.getContext("2d").font; }"""
    assert "14px" in open_tape(opened, invented(), DESK).evaluate(fonts)
    assert "16px" in open_tape(opened, invented(), PHONE).evaluate(fonts)


def test_an_evening_hides_what_was_made_later(opened):
    record = busy()
    page = open_tape(opened, record, DESK)
    early, late = record.tables["joints"].iloc[4], record.tables["joints"].iloc[14]
    go(page, record, 130.0)
    assert colour(page, *spot(page, late["chainage_m"], "joints")) == look.FUSION[late["fusion_verdict"]].fill
    page.locator("#day").fill("0")  # the evening of the first day: ten joints
    drawn(page)
    assert colour(page, *spot(page, late["chainage_m"], "joints")) == PAPER
    assert colour(page, *spot(page, early["chainage_m"], "joints")) == look.FUSION[early["fusion_verdict"]].fill
    x, y = spot(page, early["chainage_m"], "joints")
    assert colour(page, x, y + 11) == "#111111"  # made on that very day: underlined
    page.locator("#day").fill("1")
    drawn(page)
    assert colour(page, x, y + 11) == PAPER
    assert "T1: failed" not in " ".join(written(page))  # tested later
    go(page, record, late["chainage_m"] + 60)
    assert f"joint {record.tables['joints'].iloc[19]['joint_id']}" in words(page)  # the last that there is by then


def test_what_a_search_left_out_is_faded(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    joints = record.tables["joints"]
    out, other = joints.iloc[3], joints.iloc[7]
    assert (out["fusion_verdict"], other["fusion_verdict"]) == (look.OUT_OF_WINDOW, look.IN_WINDOW)
    page.locator("#narrow").evaluate("narrow => { narrow.open = true; }")
    page.locator("#narrow select").first.select_option(index=1)  # the worst verdict of fusion
    go(page, record, 120.0)
    assert colour(page, *spot(page, out["chainage_m"], "joints")) == look.FUSION[look.OUT_OF_WINDOW].fill
    faint = colour(page, *spot(page, other["chainage_m"], "joints"))
    assert faint not in (PAPER, look.FUSION[look.IN_WINDOW].fill)


def test_the_phone_is_shown_where_the_line_is_nearest_to_it(opened):
    record = invented()
    latitude, longitude = place(record, 150.0)
    there = {"geolocation": {"latitude": latitude, "longitude": longitude}, "permissions": ["geolocation"]}
    page = opened(record, DESK, script=LISTENING, **there)
    page.get_by_role("button", name="Phone position").click()
    page.locator("#phone-says").get_by_text("as the device says").wait_for()
    go(page, record, 175.0)
    x, y = spot(page, 150.0, "station")
    assert colour(page, x, y - 5) == "#FFFFFF"  # within the triangle
    assert colour(page, x - 12, y - 5) != "#FFFFFF"


# ---- taps ------------------------------------------------------------------------------------------------------------


def tap(page: Page, device: dict[str, Any], at: tuple[float, float]) -> None:
    (page.touchscreen.tap if device is PHONE else page.mouse.click)(*at)
    drawn(page)


@DEVICES
def test_a_tap_on_a_joint_chooses_it(opened, device):
    record = invented()
    page = open_tape(opened, record, device)
    at = chainage_of(record, "J0010")
    go(page, record, at - 30)
    tap(page, device, spot(page, at, "joints"))
    assert chosen(page)["kind"] == "joint"
    assert "J0010" in card(page)
    assert tape(page)["chainage"] == pytest.approx(at, abs=0.001)
    assert spoken(page).startswith(f"0+{at:06.2f}, joint J0010, {verdicts(record, 'J0010')}")


@DEVICES
def test_a_tap_on_a_gap_chooses_it(opened, device):
    record = invented()
    page = open_tape(opened, record, device)
    gap = record.tables["gaps"].iloc[0]
    go(page, record, gap["from_chainage_m"] - 20)
    tap(page, device, spot(page, (gap["from_chainage_m"] + gap["to_chainage_m"]) / 2, "joints"))
    now = chosen(page)
    assert (now["kind"], now["row"]) == ("gap", 0)


def test_a_tap_on_the_empty_axis_goes_there_and_chooses_nothing(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    go(page, record, 300.0)
    box, now = page.locator(".tape-strip").bounding_box(), tape(page)
    page.mouse.click(box["x"] + math.floor(box["width"]) / 2 + 111, box["y"] + 3)
    expected = now["chainage"] + 111 * now["metresPerPixel"]
    assert tape(page)["chainage"] == pytest.approx(expected, abs=0.5 * now["metresPerPixel"])
    assert centre_off(page, record, tape(page)["chainage"]) < 1.5
    assert chosen(page) is None


def test_a_joint_without_a_place_is_chosen_in_its_box(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    lane = next(one for one in tape(page)["lanes"] if one["name"] == "no place")
    left = 6 + page.evaluate(
        """() => {
          const c = document.createElement("canvas").getContext("2d");
          c.font = document.querySelector(".tape-strip").getContext("2d").font;
          return c.measureText("no place: 1").width;
        }"""
    )
    box = page.locator(".tape-strip").bounding_box()
    page.mouse.click(box["x"] + left + 10 + 13, box["y"] + (lane["top"] + lane["foot"]) / 2)
    row = chosen(page)["row"]
    assert pd.isna(record.tables["joints"].iloc[row]["chainage_m"])
    assert tape(page)["line"] == "main"  # the tape stays where it was


# ---- keyboard --------------------------------------------------------------------------------------------------------


def test_the_keys_walk_from_joint_to_joint(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    ids = list(record.tables["joints"]["joint_id"])
    go(page, record, 50.0)  # between the joints at 48 and 60 m
    page.focus(".tape-strip")
    for key, expected in (("ArrowRight", 4), ("ArrowRight", 5), ("ArrowLeft", 4), ("PageUp", 14), ("PageDown", 4)):
        page.keyboard.press(key)
        at = chainage_of(record, ids[expected])
        assert tape(page)["chainage"] == pytest.approx(at, abs=0.001)
        assert spoken(page).startswith(f"0+{at:06.2f}, joint {ids[expected]}, {verdicts(record, ids[expected])}")
        assert centre_off(page, record, at) < 1.5
    assert page.evaluate("document.activeElement.className") == "tape-strip"  # walking opens no card


def test_home_end_and_enter(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    page.focus(".tape-strip")
    page.keyboard.press("End")
    assert tape(page)["chainage"] == pytest.approx(line_of(record).length, abs=0.002)
    page.keyboard.press("Home")
    assert tape(page)["chainage"] == 0
    assert words(page) == f"0+000.00, joint J0001 12.00 m ahead, {verdicts(record, 'J0001')}"
    page.keyboard.press("Enter")
    assert "J0001" in card(page)
    assert page.evaluate("document.activeElement.tagName") == "H2"


def test_the_keys_pass_over_joints_not_yet_made(opened):
    record = busy()
    page = open_tape(opened, record, DESK)
    page.locator("#day").fill("0")
    page.focus(".tape-strip")
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("PageUp")
    drawn(page)
    assert chosen(page)["row"] == 9  # the tenth and last of that day


def test_the_slider_says_its_range(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    go(page, record, 350.0)
    said = {
        n: page.locator(".tape-strip").get_attribute(n) for n in ("role", "aria-valuemin", "aria-valuemax", "tabindex")
    }
    assert said == {
        "role": "slider",
        "aria-valuemin": "0",
        "aria-valuemax": f"{line_of(record).length:g}",
        "tabindex": "0",
    }
    now = float(page.locator(".tape-strip").get_attribute("aria-valuenow") or "nan")
    assert now == pytest.approx(tape(page)["chainage"], abs=0.006)


def test_the_needle_says_a_gap(opened):
    record = invented()
    page = open_tape(opened, record, DESK)
    gap = record.tables["gaps"].iloc[0]
    go(page, record, (gap["from_chainage_m"] + gap["to_chainage_m"]) / 2)
    assert f"in a gap: {gap['length_m']:.1f} m, {gap['missing_records']} missing records" in spoken(page)


# ---- many joints -----------------------------------------------------------------------------------------------------


def test_a_long_line_stays_quick(opened, monkeypatch):
    monkeypatch.setattr(map_record, "DAYS", map_record.DAYS * 400)
    record = invented(20000)
    page = open_tape(opened, record, DESK)
    line = line_of(record)
    go(page, record, line.length / 2)
    spent = page.evaluate(
        """async () => {
          const map = window.map_of_joints, frames = [];
          const strip = document.querySelector(".tape-strip"), box = strip.getBoundingClientRect();
          const at = (x) => ({ pointerId: 1, clientX: x, clientY: box.top + 5, button: 0 });
          const send = (kind, x) => strip.dispatchEvent(new PointerEvent(kind, at(x)));
          strip.setPointerCapture = () => {};
          send("pointerdown", box.left + 500);
          for (let i = 1; i <= 20; i++) {
            const began = performance.now();
            send("pointermove", box.left + 500 - 10 * i);
            await new Promise(requestAnimationFrame);
            await new Promise(requestAnimationFrame);
            frames.push(performance.now() - began);
          }
          send("pointerup", box.left + 300);
          return frames.sort((a, b) => a - b)[10];
        }"""
    )
    assert spent < 250  # milliseconds for two frames, map and tape; about 33 where nothing is slow
    assert tape(page)["chainage"] > line.length / 2 + 50
    assert page.evaluate("window.asbuilt.joints") == len(record.tables["joints"]) > 19000
