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
    page.click("#phone")
    assert not page.is_visible("#phone-says")
    page.evaluate("window.texts = [], map_of_joints.panBy([2, 2], {animate: false}), map_of_joints.fire('moveend')")
    assert "phone position" not in page.evaluate("window.texts.map(one => one[0])")
    assert page.locator(".from-phone").count() == 0


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
