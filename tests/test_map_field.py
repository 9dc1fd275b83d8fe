"""The map in the field: the phone position, what serves without it, fingers and small screens. All data is invented.

Tried in a desktop browser that plays a phone (its screen, touch and geolocation). NOT TRIED ON A REAL PHONE: whether a
file opened from a phone's own storage may ask for a position, run a script or save a file.
"""

import dataclasses
import re
from typing import Any

import numpy as np
import pyogrio
import pyproj
import pytest
from playwright.sync_api import Page

from asbuilt import cautions
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, PHONE, Opener, card, chosen, find, keep, until
from tests.map_record import CRS, invented

GEOD = pyproj.Geod(ellps="WGS84")
TO_WGS84 = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
WINDS = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"]
TOUCH, TEXT = 44, 16  # pixels. WCAG 2.2, 2.5.5 Target Size (Enhanced): 44 by 44 (from memory); 16 is the issue's own


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return invented()


def wgs84(record: AsBuilt, joint_id: str) -> tuple[float, float]:
    """Longitude and latitude of a joint in WGS 84, by pyproj alone."""
    joint = record.tables["joints"].set_index("joint_id").loc[joint_id]
    return TO_WGS84.transform(joint["easting"], joint["northing"])


def stand(record: AsBuilt, joint_id: str, bearing: float, distance: float, accuracy: float = 4) -> dict[str, float]:
    """Return the position of a device that stands `distance` from a joint, in the direction `bearing`."""
    longitude, latitude, _ = GEOD.fwd(*wgs84(record, joint_id), bearing, distance)
    return {"latitude": latitude, "longitude": longitude, "accuracy": accuracy}


def in_the_field(opened: Opener, record: AsBuilt, here: dict[str, float]) -> Page:
    page = opened(record, PHONE, geolocation=here, permissions=["geolocation"])
    page.click("#thumb button:has-text('Phone')")
    page.wait_for_selector("#phone-says strong")
    return page


def way(page: Page) -> tuple[float, float, str]:
    """Distance, bearing and wind that the page tells."""
    said = page.inner_text(".from-phone")
    found = re.search(r"([\d.]+) m, (\d{3})° \((\w+)\) from true north", said)
    assert found, said
    return float(found[1]), float(found[2]), found[3]


# ---- with a position -------------------------------------------------------------------------------------------------


def test_the_phone_tells_distance_and_bearing_to_what_is_chosen(record, opened):
    """Against the geodesic of pyproj (GeographicLib) on WGS 84."""
    here = stand(record, "J0030", 200, 75, accuracy=1.5)
    page = in_the_field(opened, record, here)
    for joint_id in ("J0030", "J0001", "J0052"):
        find(page, joint_id)
        bearing, _, distance = GEOD.inv(here["longitude"], here["latitude"], *wgs84(record, joint_id))
        told = way(page)
        assert told[0] == pytest.approx(distance, abs=0.06)
        assert told[1] == pytest.approx(bearing % 360, abs=0.51)
        assert told[2] == WINDS[round(bearing % 360 / 45) % 8]
    keep(page, "field_position")
    said = page.inner_text("#phone-says")
    assert "good to about 1.5 m as the device says" in said
    assert "It shows the way to a place, not where to dig." in said
    assert "Nothing leaves the device." in said


def test_no_figure_is_finer_than_the_position_it_comes_from(record, opened):
    page = in_the_field(opened, record, stand(record, "J0030", 90, 12.4, accuracy=4.2))
    find(page, "J0030")
    assert "From the phone position (± 5 m): 12 m, 270° (W) from true north." in page.inner_text("#chosen")
    page.context.set_geolocation(stand(record, "J0030", 90, 12.4, accuracy=0.02))
    until(page, "document.querySelector('.from-phone')?.textContent.includes('± 0.02 m')")
    assert way(page)[0] == pytest.approx(12.4, abs=0.006)


def test_a_gap_is_told_from_where_it_begins(record, opened):
    gap = record.tables["gaps"].iloc[0]
    page = in_the_field(opened, record, stand(record, gap["from_joint"], 0, 300))
    page.click(f"#list-table button:has-text('{gap['gap_id']}')")
    assert "to where the gap begins: " in page.inner_text("#chosen")
    assert way(page)[0] == pytest.approx(300, abs=1)


PHONE_DRAWN = """
  window.texts = []; window.circles = [];
  const fillText = CanvasRenderingContext2D.prototype.fillText, arc = CanvasRenderingContext2D.prototype.arc;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
    window.texts.push([text, parseFloat(/[\\d.]+px/.exec(this.font)[0])]);
    return fillText.apply(this, arguments);
  };
  CanvasRenderingContext2D.prototype.arc = function (x, y, r) {
    if (r > 30) window.circles.push(r);
    return arc.apply(this, arguments);
  };
"""


def test_the_circle_is_as_large_as_the_device_states(record, opened):
    """A web map's scale: 2 pi 6378137 m cos(latitude) on 256 pixels, halved with each zoom (common practice)."""
    here = stand(record, "J0030", 45, 30, accuracy=40)
    page = opened(record, PHONE, script=PHONE_DRAWN, geolocation=here, permissions=["geolocation"])
    find(page, "J0030")
    page.click("#phone")
    page.wait_for_selector("#phone-says strong")
    metres = 2 * np.pi * 6378137 * np.cos(np.radians(here["latitude"])) / 256 / 2 ** page.evaluate("asbuilt.zoom()")
    assert page.evaluate("window.circles.at(-1)") == pytest.approx(40 / metres, rel=1e-3)
    assert "phone position" in page.evaluate("window.texts.map(one => one[0])")
    page.click("#phone-stop")
    assert not page.is_visible("#phone-says")
    page.evaluate("window.texts = [], map_of_joints.panBy([2, 2], {animate: false}), map_of_joints.fire('moveend')")
    assert "phone position" not in page.evaluate("window.texts.map(one => one[0])")
    assert page.locator(".from-phone").count() == 0


def states(page: Page) -> tuple[str | None, str | None, bool]:
    """What the two buttons say of themselves, and whether the way to end it is there."""
    bar, tool = page.get_attribute("#thumb-phone", "aria-expanded"), page.get_attribute("#phone", "aria-pressed")
    return bar, tool, page.is_visible("#phone-stop")


def test_the_bar_leads_to_the_way_and_only_stop_ends_it(record, opened):
    page = opened(record, PHONE, geolocation=stand(record, "J0030", 90, 200), permissions=["geolocation"])
    assert states(page) == ("false", "false", False)
    find(page, "J0012")
    page.locator("#thumb-phone").tap()
    page.wait_for_selector("#phone-says strong")
    assert states(page) == ("true", "true", True)
    page.evaluate("map_of_joints.setView([0, 0], 5, {animate: false})")
    page.locator("#thumb button:has-text('List')").tap()
    page.locator("#thumb-phone").tap()
    assert states(page) == ("true", "true", True)
    assert page.is_visible(".from-phone")
    map_box = page.locator("#map").bounding_box()
    assert map_box["y"] == pytest.approx(0, abs=1)
    x, y = page.evaluate("asbuilt.pixelOf('J0012')")  # both are in sight again
    assert 0 < x < map_box["width"]
    assert 0 < y < map_box["height"]
    page.focus("#phone-stop")
    page.keyboard.press("Enter")
    assert states(page) == ("false", "false", False)
    assert page.locator(".from-phone").count() == 0
    assert page.evaluate("document.activeElement.id") == "thumb-phone"


def test_a_new_position_takes_nothing_from_under_the_keyboard(record, opened):
    page = in_the_field(opened, record, stand(record, "J0030", 90, 20))
    page.focus("#phone-stop")
    page.context.set_geolocation(stand(record, "J0030", 90, 20, accuracy=11))
    until(page, "document.getElementById('phone-says').textContent.includes('about 11 m')")
    assert page.evaluate("document.activeElement.id") == "phone-stop"


# ---- room for what stands over the map -------------------------------------------------------------------------------

UNDER = """id => {
  const [x, y] = asbuilt.pixelOf(id), near = (box) =>
    x > box.left - 12 && x < box.right + 12 && y > box.top - 12 && y < box.bottom + 12;
  const over = [...document.querySelectorAll("#map .leaflet-control, #map .north")];
  const frame = document.getElementById("map").getBoundingClientRect();
  const isOut = x < frame.left + 12 || x > frame.right - 12 || y < frame.top + 12 || y > frame.bottom - 12;
  const under = over.filter(one => near(one.getBoundingClientRect())).map(one => one.className);
  return [...under, ...(isOut ? ["out of sight"] : [])];
}"""


@pytest.mark.parametrize("bearing", range(0, 360, 30))
def test_what_is_chosen_and_the_phone_never_lie_under_a_button(record, opened, bearing):
    """The phone all round the joint, so that the joint comes into each corner in turn."""
    page = in_the_field(opened, record, stand(record, "J0030", bearing, 240))
    find(page, "J0030")
    page.locator("#thumb-phone").tap()
    assert page.evaluate(UNDER, "J0030") == []


@pytest.mark.parametrize("device", [DESK, PHONE], ids=["desk", "phone"])
def test_gaps_picked_sets_and_the_whole_route_keep_the_corners_free(record, opened, device):
    page = opened(record, device)
    placed = record.tables["joints"].loc[lambda t: t["in_line"].astype(bool) & t["geometry"].notna(), "joint_id"]
    assert {name for name in placed if page.evaluate(UNDER, name)} == set()
    for gap in record.tables["gaps"].itertuples():
        find(page, gap.from_joint)
        page.locator(f"#list-table button:has-text('{gap.gap_id}')").click()
        page.locator("#map").evaluate("map => map.scrollIntoView()")
        assert {name for name in (gap.from_joint, gap.to_joint) if page.evaluate(UNDER, name)} == set()
    find(page, "operator 1")
    page.locator("#map").evaluate("map => map.scrollIntoView()")
    own = record.tables["joints"].loc[
        lambda t: t["joint_id"].isin(placed) & (t["operator"] == "Operator 1"), "joint_id"
    ]
    assert len(own) > 5
    assert {name for name in own if page.evaluate(UNDER, name)} == set()


# ---- which joint it is -----------------------------------------------------------------------------------------------


def told_apart() -> AsBuilt:
    """Joints every 12 m whose radii are 0.5 m; two of them with pipe numbers, the one before without machine."""
    record = invented()
    joints = record.tables["joints"].copy()
    joints["radius95_m"] = joints["radius95_m"].where(joints["radius95_m"].isna(), 0.5)
    joints.loc[[9, 10], ["pipe_a", "pipe_b"]] = [["P10", "P11"], ["P11", "P12"]]
    return dataclasses.replace(record, tables={**record.tables, "joints": joints})


def beside(record: AsBuilt, joint_id: str, ahead: float) -> tuple[float, float]:
    """Latitude and longitude, in the frame of the record, of a place on the line `ahead` of a joint, by shapely."""
    at = record.tables["joints"].set_index("joint_id").loc[joint_id, "chainage_m"] + ahead
    point = record.tables["alignment"]["geometry"].iloc[0].interpolate(at)
    longitude, latitude = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True).transform(point.x, point.y)
    return latitude, longitude


LEAD = "Which of the two it is cannot be told from this position: tell them by "


@pytest.mark.parametrize(
    ("ahead", "says"),
    [
        # Joints 12 m apart: an error of half the difference of both distances turns them round, (7 - 5) / 2 = 1 m.
        (5.0, "Nearest joint along the line: J0010, 5.0 m back; then J0011, 7.0 m ahead. An error of 1.0 m along the"
              " line would make J0011 the nearer one."),
        (5.8, "J0010, 5.8 m back: pipes P10 and P11, 12 March 2026, machine M2J0011, 6.2 m ahead: pipes P11 and P12,"
              " 12 March 2026, machine M1An error of 0.2 m along the line would make J0011 the nearer one."),
        (6.02, "An error of less than 0.1 m along the line would make J0010 the nearer one."),
    ],
)  # fmt: skip
def test_a_position_says_how_little_would_make_another_joint_the_nearer_one(opened, ahead, says):
    record = told_apart()
    page = opened(record, DESK)
    find(page, ", ".join(f"{part:.7f}" for part in beside(record, "J0010", ahead)))
    assert says in card(page)
    assert (f"{LEAD}pipe numbers and machine." in card(page)) == (ahead > 5.5)  # both were made on one day
    assert ("or J0011" in page.inner_text(".tape-words")) == (ahead == 5.8)


def test_where_the_record_has_nothing_to_tell_them_apart_it_says_so(opened):
    record = told_apart()
    for name in ("machine", "pipe_a", "pipe_b", "fused_local"):
        record.tables["joints"][name] = ""
    page = opened(record, DESK)
    find(page, ", ".join(f"{part:.7f}" for part in beside(record, "J0010", 5.9)))
    assert "and the record has no pipe numbers, date or machine that would tell them apart." in card(page)
    assert "J0010, 5.9 m back: pipe numbers, date and machine not recorded" in card(page)


def test_a_station_that_was_typed_is_where_it_was_meant(opened):
    page = opened(told_apart(), DESK)
    find(page, "0+126")
    assert "J0010 6.0 m" in card(page)
    assert "An error of" not in card(page)


def test_the_phone_says_which_joints_it_may_be_by_its_own_accuracy(opened):
    """Within 4 m: those whose distance is at most 8 m more than that of the nearest (half the difference)."""
    record = told_apart()
    page = in_the_field(opened, record, stand(record, "J0010", 0, 0, accuracy=4))
    assert "Nearest joint along the line: J0010, less than 1 m " in page.inner_text("#phone-says")
    assert "An error of 6.0 m along the line would make" in page.inner_text("#phone-says")
    page.context.set_geolocation(stand(record, "J0010", 0, 0, accuracy=6.5))
    until(page, "document.getElementById('phone-says').textContent.includes('Which of these 3 it is cannot be told')")
    assert [text[:5] for text in page.locator("#phone-says li").all_inner_texts()] == ["J0010", "J0009", "J0011"]
    find(page, ", ".join(f"{part:.7f}" for part in beside(record, "J0010", 1.0)))
    assert "Which of these 3 it is" in page.inner_text("#which")
    page.click("#phone-stop")
    assert "Nearest joint along the line: J0010, 1.0 m back" in page.inner_text("#which")


def test_far_from_the_line_no_joint_is_beside_the_phone(opened):
    record = told_apart()
    page = in_the_field(opened, record, stand(record, "J0010", 120, 400))
    assert "joint" not in page.inner_text("#phone-says")


# ---- without a position ----------------------------------------------------------------------------------------------

DEAF = """
  navigator.__defineGetter__("geolocation", () => ({
    watchPosition(found, lost) { window.answer = { found, lost }; return 7; },
    clearWatch(watch) { window.cleared = watch; },
  }));
"""


@pytest.mark.parametrize(
    ("code", "words", "goes_on"),
    [
        (1, "this page may not ask for it. A file opened from a phone's storage often may not", False),
        (2, "the device does not know where it is. It is still being asked.", True),
        (3, "the device took too long. It is still being asked.", True),
        (9, "the device gave no reason. It is still being asked.", True),
    ],
)
def test_without_a_position_the_page_says_why_and_offers_another_way(record, opened, code, words, goes_on):
    page = opened(record, PHONE, script=DEAF)
    page.click("#phone")
    assert "Waiting for the phone position" in page.inner_text("#phone-says")
    page.evaluate("code => window.answer.lost({ code })", code)
    assert f"No phone position: {words}" in page.inner_text("#phone-says")
    assert "Choose a joint, and its position can be copied" in page.inner_text("#phone-says")
    assert page.evaluate("window.cleared === 7") is not goes_on
    assert page.get_attribute("#phone", "aria-pressed") == ("true" if goes_on else "false")
    find(page, "J0030")
    found = re.search(r"(-\d+\.\d{7}), (\d+\.\d{7})", page.inner_text("#phone-says"))
    longitude, latitude = wgs84(record, "J0030")
    assert (float(found[1]), float(found[2])) == pytest.approx((latitude, longitude), abs=2e-7)
    assert page.is_visible("#phone-says button:has-text('Copy')")
    assert page.is_visible("#phone-says button:has-text('GPX')")
    keep(page, f"field_no_position_{code}")


def test_a_position_that_is_lost_is_shown_no_longer(record, opened):
    page = opened(record, PHONE, script=DEAF)
    find(page, "J0030")
    page.click("#phone")
    fix = {"coords": stand(record, "J0030", 10, 20)}
    page.evaluate("fix => window.answer.found(fix)", fix)
    assert page.is_visible(".from-phone")
    page.evaluate("window.answer.lost({ code: 2 })")
    assert page.locator(".from-phone").count() == 0
    page.evaluate("fix => window.answer.found(fix)", fix)
    assert page.is_visible(".from-phone")
    assert "No phone position" not in page.inner_text("#phone-says")


def test_a_browser_that_has_none_says_so(record, opened):
    page = opened(record, PHONE, script="navigator.__defineGetter__('geolocation', () => undefined)")
    page.click("#phone")
    assert "No phone position: this browser has none." in page.inner_text("#phone-says")
    assert page.get_attribute("#phone", "aria-pressed") == "false"


def test_a_permission_that_is_refused_by_the_browser_itself_is_told(record, opened):
    page = opened(record, PHONE)  # a page without the permission, and nobody to ask
    page.click("#phone")
    until(page, "document.getElementById('phone-says').textContent.includes('may not ask for it')")
    assert page.get_attribute("#phone", "aria-pressed") == "false"


def test_where_wgs84_cannot_be_reached_nothing_pretends_to_be_it(record, opened):
    title = dataclasses.replace(record.title, wgs84="How far a phone is off here is not known (invented).")
    page = in_the_field(opened, dataclasses.replace(record, wgs84=None, title=title), stand(record, "J0030", 0, 50))
    find(page, "J0030")
    assert "How far phone and record differ here is not known." in page.inner_text("#chosen")
    assert title.wgs84 in card(page)
    assert page.locator("button:has-text('GPX')").count() == 0


# ---- what leaves the page on request ---------------------------------------------------------------------------------


def saved(page: Page, button: str, folder: Any) -> Any:
    with page.expect_download() as waiting:
        page.click(button)
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def test_waypoints_are_where_pyproj_says(record, opened, tmp_path):
    """Read back by GDAL's GPX driver; places by pyproj's own way from the route's frame to WGS 84."""
    page = opened(record, DESK)
    path = saved(page, "#tools button:has-text('GPX')", tmp_path)
    assert path.name == "Invented_demonstration_route_4_.gpx"
    points = pyogrio.read_dataframe(path, layer="waypoints").set_index("name")
    joints = record.tables["joints"].set_index("joint_id")
    joints = joints[joints["geometry"].notna() & joints["in_line"]]
    assert set(points.index) == set(joints.index)
    there = points.loc[joints.index].geometry
    east, north = TO_WGS84.transform(joints["easting"], joints["northing"])
    off = GEOD.inv(there.x.to_numpy(), there.y.to_numpy(), np.asarray(east), np.asarray(north))[2]
    assert np.max(off) < 0.02  # seven decimals of a degree, and the plane that stands for the operation
    assert points.loc["J0004", "desc"].startswith("0+048.00, ")
    assert points["desc"].str.endswith("An estimate, not a utility locate.").all()
    text = path.read_text(encoding="utf-8")
    assert cautions.IN_SHORT in text
    assert record.title.wgs84.replace("'", "&#39;") in text or record.title.wgs84 in text


def test_one_waypoint_from_the_card(record, opened, tmp_path):
    page = opened(record, DESK)
    find(page, "J0030")
    points = pyogrio.read_dataframe(saved(page, "#card button:has-text('GPX')", tmp_path), layer="waypoints")
    assert list(points["name"]) == ["J0030"]
    assert GEOD.inv(points.geometry[0].x, points.geometry[0].y, *wgs84(record, "J0030"))[2] < 0.02


@pytest.mark.parametrize("allowed", [True, False])
def test_a_position_is_copied_or_laid_out_to_be_copied(record, opened, allowed):
    script = (
        ""
        if allowed
        else "navigator.__defineGetter__('clipboard', () => undefined); document.execCommand = () => false;"
    )
    rights = {"permissions": ["clipboard-read", "clipboard-write"]} if allowed else {}
    page = opened(record, DESK, script=script, **rights)
    find(page, "J0030")
    text = page.locator("#card .copied span").first.inner_text()
    page.locator("#card .copy").first.click()
    until(
        page,
        "words => document.querySelector('#card .copy').textContent === words",
        "Copied" if allowed else "Copy by hand",
    )
    copy = "navigator.clipboard.readText()" if allowed else "document.querySelector('.copying').value"
    assert page.evaluate(copy) == text


# ---- without scripts, or with too old a browser ----------------------------------------------------------------------


def test_without_scripts_the_places_are_there(record, opened):
    page = opened(record, PHONE, java_script_enabled=False)
    said = page.inner_text("body")
    assert "This page could not run its script" in said
    assert "If these words stay, this browser could not" in said
    joint = record.tables["joints"].set_index("joint_id").loc["J0030"]
    assert f"J0030  {joint['station']}  {joint['latitude']:.7f}, {joint['longitude']:.7f}" in said
    assert "joints.gpx of the hand-over" in said
    for caution in cautions.CAUTIONS:
        assert caution in said
    assert said.index(cautions.CAUTIONS[0]) < said.index("J0001")  # before the first place
    for hidden in ("#card", "#find-part", "#tools", "#thumb", "#tape", "#evening", ".map"):
        assert not page.is_visible(hidden), hidden
    keep(page, "field_no_script")


@pytest.mark.parametrize("fault", ["old browser", "damaged file"])
def test_what_cannot_be_opened_says_so_and_gives_the_places(record, browser, tmp_path, fault):
    opener, path = Opener(browser, tmp_path), tmp_path / "map.html"
    text = webmap.page(record)
    packed = re.search(r'type="text/plain">(.{40})', text)[1]
    path.write_text(text if fault == "old browser" else text.replace(packed, packed[:20] + "A" * 20), encoding="utf-8")
    page = opener(
        path,
        PHONE,
        script="delete window.DecompressionStream" if fault == "old browser" else "",
        ready="() => document.querySelector('#opening + section') !== null",
    )
    assert "If these words stay, this browser could not" in page.inner_text("#opening")
    assert "What the browser says: " in page.inner_text("#opening")
    assert "J0030  0+" in page.inner_text("#opening + section pre")
    assert not page.is_visible("#tools")
    assert not page.is_visible(".map")
    assert page.evaluate("window.asbuilt === undefined")
    keep(page, f"field_{fault.replace(' ', '_')}")
    opener.close()


# ---- fingers and small screens ---------------------------------------------------------------------------------------

SMALL_TARGETS = """least => Array.from(document.querySelectorAll("button, input, select, summary, a, canvas[tabindex]"))
  .filter(one => one.offsetParent !== null || one.closest(".thumb"))
  .map(one => [one.getBoundingClientRect(), one.outerHTML])
  .filter(([box]) => box.width > 0 && (box.height < least || box.width < least)).map(([, text]) => text)"""
SMALL_TEXT = """least => Array.from(document.body.querySelectorAll("*")).filter(one => one.offsetParent !== null)
  .filter(one => Array.from(one.childNodes).some(part => part.nodeType === 3 && part.data.trim()))
  .filter(one => parseFloat(getComputedStyle(one).fontSize) < least).map(one => one.outerHTML)"""


def hold(page: Page, what: str) -> None:
    """Hold sizes of targets and texts, on canvases too, and that nothing is wider than the screen."""
    assert page.evaluate(SMALL_TARGETS, TOUCH) == [], what
    assert page.evaluate(SMALL_TEXT, TEXT) == [], what
    assert page.evaluate("least => window.texts.filter(one => one[1] < least)", TEXT) == [], what
    width = page.viewport_size["width"]
    assert page.evaluate("document.documentElement.scrollWidth") == width, what
    keep(page, f"field_phone_{width}_{what.replace(' ', '_')}")


@pytest.mark.parametrize("width", [320, 360, 390])
def test_fingers_and_eyes_have_room_in_every_state(record, opened, width):
    device = {**PHONE, "viewport": {"width": width, "height": 844}}
    page = opened(record, device, script=PHONE_DRAWN + DEAF)
    hold(page, "start")
    page.fill("#find", "00")
    hold(page, "search results")
    find(page, "J0004")
    page.click("#chosen button:has-text('Card')")
    hold(page, "card")
    page.click("#narrow summary")
    page.select_option("#narrow select >> nth=0", index=1)
    hold(page, "narrow boxes and a picked set")
    page.click("#evening button[aria-label='The evening before']")
    hold(page, "evening")
    page.click("#fixes")
    page.click("#phone")
    page.evaluate("fix => window.answer.found(fix)", {"coords": stand(record, "J0004", 10, 20)})
    hold(page, "phone position")
    page.click("#sun")
    hold(page, "for the sun")
    page.click("#list-rows button >> nth=0")
    page.evaluate("window.answer.lost({ code: 2 })")
    hold(page, "no phone position")


def test_for_the_sun_it_is_black_on_white(record, opened):
    page = opened(record, PHONE)
    page.click("#sun")
    colours = page.evaluate("['color', 'backgroundColor'].map(what => getComputedStyle(document.body)[what])")
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    greys = """() => Array.from(document.body.querySelectorAll("*")).filter(one => one.offsetParent !== null)
      .filter(one => Array.from(one.childNodes).some(part => part.nodeType === 3 && part.data.trim()))
      .map(one => getComputedStyle(one).color)
      .filter(colour => !["rgb(0, 0, 0)", "rgb(255, 255, 255)"].includes(colour))"""
    assert page.evaluate(greys) == []


def test_a_thumb_reaches_map_search_card_list_and_phone(record, opened):
    page = opened(record, PHONE)
    assert page.is_disabled("#thumb-card")
    find(page, "J0030")
    bar = page.locator("#thumb").bounding_box()
    assert bar["y"] + bar["height"] == pytest.approx(844, abs=1)  # at the foot of the screen, wherever the page stands
    for words, place in (("List", "#list"), ("Card", "#card"), ("Find", "#find-part"), ("Map", "#map")):
        page.locator(f"#thumb button:has-text('{words}')").tap()
        box = page.locator(place).bounding_box()
        assert -1 <= box["y"] < 844 / 2, words
    assert chosen(page)["row"] == 29


def test_nothing_is_told_by_hovering_alone(record, opened):
    """What stands in a `title` must stand in a name or a text too: a finger does not hover."""
    page = opened(record, PHONE)
    find(page, "J0004")
    told = """() => Array.from(document.querySelectorAll("[title]")).filter(one => {
      const words = one.title, name = one.getAttribute("aria-label") || "";
      return words !== name && !document.querySelector("main").textContent.includes(words);
    }).map(one => one.title)"""
    assert page.evaluate(told) == []
