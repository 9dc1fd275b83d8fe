"""The map in a browser: what is drawn, the card, the search. All data is invented."""

import dataclasses
import re

import pytest

from asbuilt import cautions, look
from asbuilt.as_built import AsBuilt
from asbuilt.quantities import LengthUnit
from asbuilt.stationing import Stationing
from tests.map_pages import DESK, DEVICES, PHONE, card, colour_at, find, until
from tests.map_record import JUMPING, NASTY, PLAIN, geographic, invented


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return invented()


@DEVICES
def test_every_placed_joint_is_drawn(record, opened, device):
    page = opened(record, device)
    placed = int(record.tables["joints"]["geometry"].notna().sum())
    assert placed == len(record.tables["joints"]) - 1
    assert page.evaluate("window.asbuilt.drawn().joints") == page.evaluate("window.asbuilt.placed") == placed
    assert page.evaluate("window.asbuilt.drawn().gaps") == 2
    assert page.evaluate("window.asbuilt.drawn().stations") >= 2
    assert page.evaluate("Object.isFrozen(window.asbuilt)")


def test_a_joint_has_the_colour_of_its_verdict(record, opened):
    page = opened(record, DESK)
    for number in (2, 3, 5, 7):
        row = record.tables["joints"].iloc[number]
        find(page, row["joint_id"])
        page.click("#card .close")
        assert colour_at(page, row["joint_id"]) == look.FUSION[row["fusion_verdict"]].fill


@DEVICES
def test_a_tap_opens_the_card(record, opened, device):
    page = opened(record, device)
    find(page, "J0030")
    page.locator("#map").evaluate("map => map.scrollIntoView()")  # on a phone the search has led to the card
    at = page.evaluate("window.asbuilt.pixelOf('J0031')")
    tap = page.touchscreen.tap if device is PHONE else page.mouse.click
    tap(*at)
    until(page, "window.asbuilt.chosen().row === 30")
    assert "Joint J0031" in card(page)
    page.click("#card .neighbours button >> nth=1")
    assert "Joint J0032" in card(page)
    page.click("#card .close")
    assert not page.is_visible("#card")


def test_joints_on_one_spot_are_reached_by_further_taps(record, opened):
    page = opened(record, DESK)
    page.evaluate("window.map_of_joints.setZoom(window.map_of_joints.getZoom() - 4, {animate: false})")
    assert page.is_visible(".crowded")
    at = page.evaluate("window.asbuilt.pixelOf('J0030')")
    seen = set()
    for _ in range(4):
        page.mouse.click(*at)
        page.wait_for_timeout(350)  # two clicks at once would be a double click, which zooms
        assert "joints are drawn on this spot" in card(page)
        seen.add(page.evaluate("window.asbuilt.chosen().row"))
    assert len(seen) > 1


def test_the_card_says_all_of_a_joint(record, opened):
    page = opened(record, DESK)
    find(page, "j0004")
    row, said = record.tables["joints"].iloc[3], card(page)
    for words in (
        "Fusion: out of window (3 of 8 quantities recorded)",
        "Position: in window",
        "Heater temperature 238.4 °C is above 230 °C.",
        f"{row['station']}, {abs(row['offset_m']):.2f} m {'R' if row['offset_m'] > 0 else 'L'}",
        f"{row['latitude']:.7f}, {row['longitude']:.7f}",
        f"{row['easting']:.2f} E, {row['northing']:.2f} N",
        "EPSG:7855, GDA2020 / MGA zone 55 (metre)",
        "computed, not surveyed",
        f"95 % radius{row['radius95_m']:.2f} m",
        "Heater temperatureout of window238.4 °Cwindow 210 to 230 °C",
        "Bead-up pressure not requiredout of window0.1500001 MPawindow at most 0.15 MPa",
        "Not recorded and not required: soak time.",
        "Drag pressure0.5171 MPa",
        "records/crew_b.csv, row 5",
        "12 March 2026 14:32 (UTC+11:00)",
        "← J0003, 12.0 m",
        "A phone shows WGS 84: brought over by",
        cautions.IN_SHORT,
    ):
        assert words in said


def test_nothing_is_ever_shown_as_nan_or_null(record, opened):
    page = opened(record, DESK)
    for joint_id in ("J0001", "J0019", "J0021", "J0055", "J0056"):  # the last two: without a place, and a trial
        find(page, joint_id)
        assert f"Joint {joint_id}" in card(page)
        assert re.findall(r"\b(nan|null|undefined|NaT|None|Infinity)\b", card(page), re.IGNORECASE) == []
    assert "it is in no count" in card(page)
    find(page, "J0055")
    assert "has no place on the line" in card(page)


def test_texts_are_shown_as_they_were_written(record, opened):
    page = opened(record, DESK)
    for number, words in enumerate(NASTY):
        find(page, f"J{number + 1:04d}")
        assert words in card(page)
    assert page.locator("#card img, #card script").count() == 0
    assert page.title() == "Invented demonstration route <4>, joint map, P01"


def test_a_gap_opens_its_card(record, opened):
    page = opened(record, DESK)
    gap = record.tables["gaps"].iloc[0]
    page.click(f"#list-table button:has-text('{gap['gap_id']}')")
    said = card(page)
    assert "48.0 m, 3 missing records" in said
    assert "Missing records, with 95 %2 to 4" in said
    page.click(f"#card button:has-text('{gap['from_joint']}')")
    assert f"Joint {gap['from_joint']}" in card(page)
    assert f"{gap['to_joint']}, 48.0 m (gap)" in card(page)


def test_the_search_finds_part_of_an_id_and_says_when_it_finds_nothing(record, opened):
    page = opened(record, DESK)
    page.fill("#find", "003")
    assert page.locator("#found button").count() == 8
    assert "Joint J0003 at" in page.inner_text("#found")
    assert "more: type on" in page.inner_text("#found")
    page.fill("#find", "<b>nowhere")
    assert "Nothing fits “<b>nowhere”" in page.inner_text("#found")


def place_of(record: AsBuilt, chainage: float) -> tuple[float, float]:
    """Latitude and longitude by shapely and pyproj alone."""
    point = record.tables["alignment"]["geometry"].iloc[0].interpolate(chainage)
    (longitude,), (latitude,) = geographic([point])
    return latitude, longitude


@pytest.mark.parametrize(
    ("stationing", "typed", "chainage"),
    [(PLAIN, "0+250", 250.0), (PLAIN, "250", 250.0), (JUMPING, "0+250", 250.0), (JUMPING, "0+412.5", 362.5)],
)
def test_a_station_is_found_across_chainage_equations(opened, stationing, typed, chainage):
    record = invented(stationing=stationing)
    page = opened(record, DESK)
    find(page, typed)
    said = card(page)
    found = re.search(r"(-\d+\.\d{7}), (\d+\.\d{7})", said)
    assert (float(found[1]), float(found[2])) == pytest.approx(place_of(record, chainage), abs=2e-7)
    joints = record.tables["joints"]
    before = joints[joints["chainage_m"] <= chainage].iloc[-1]
    assert f"Joint before{before['joint_id']} {chainage - before['chainage_m']:.1f} m" in said


def test_a_us_route_is_shown_in_feet(opened):
    foot = LengthUnit("ft", 1200 / 3937)
    stationing = Stationing(station_length_m=100 * foot.metres, metres_per_unit=foot.metres)
    record = invented(stationing=stationing)
    title = dataclasses.replace(record.title, length_unit=foot, station_length="100 ft")
    page = opened(dataclasses.replace(record, title=title), DESK)
    find(page, "8+20.21")  # 250 m = 820.208 ft
    found = re.search(r"(-\d+\.\d{7}), (\d+\.\d{7})", card(page))
    assert (float(found[1]), float(found[2])) == pytest.approx(place_of(record, 250.0), abs=2e-7)
    find(page, "J0004")
    assert "← J0003, 39.4 ft" in card(page)  # 12 m
    assert "1+57.48" in card(page)  # 48 m
    assert page.locator(".leaflet-control-scale-line").all_inner_texts()[-1].endswith(" ft")


def test_a_station_in_a_hole_of_the_labels_is_not_found(opened):
    page = opened(invented(stationing=JUMPING), DESK)
    page.fill("#find", "0+320")
    assert "No line has that station: main has 0+000.00 to" in page.inner_text("#found")


def test_all_that_is_outstanding_is_listed(record, opened):
    page = opened(record, DESK)
    assert page.evaluate("window.asbuilt.outstanding") == record.counts.outstanding
    rows = page.locator("#list-rows tr")
    assert rows.count() == record.counts.outstanding
    texts = rows.all_inner_texts()
    stations = [t for t in rows.locator("td:first-child").all_inner_texts() if t != "no place"]
    assert stations == sorted(stations)
    assert len(stations) == record.counts.outstanding - 2
    assert "row set aside: no joint number <b>at all</b>" in texts[-1]
    page.select_option("#list-table select", "gap")
    assert rows.count() == 2


def test_a_phone_has_the_map_first_and_room_for_a_finger(record, opened):
    page = opened(record, PHONE)
    find(page, "J0004")
    order = (".map", "#chosen", ".caution", "#find", "#card", "#evening", "#list", "#tools", ".key")
    box = {name: page.locator(name).first.bounding_box() for name in order}
    tops = [b["y"] for b in box.values()]
    assert tops == sorted(tops)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    small = """what => Array.from(document.querySelectorAll(what)).filter(one => one.offsetParent !== null)
      .filter(one => one.getBoundingClientRect().height < 44).map(one => one.outerHTML)"""
    assert page.evaluate(small, "button, input, select, .leaflet-bar a") == []
    sizes = """() => Array.from(document.body.querySelectorAll("*")).filter(one => one.offsetParent !== null)
      .filter(one => Array.from(one.childNodes).some(part => part.nodeType === 3 && part.data.trim()))
      .filter(one => one.tagName !== "SUP").map(one => parseFloat(getComputedStyle(one).fontSize))"""
    assert min(page.evaluate(sizes)) >= 16


def test_paper_gets_a_copy_of_the_map(record, opened):
    page = opened(record, DESK)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    inked = """() => {
      const copy = document.querySelector(".print-copy");
      return Array.from(copy.getContext("2d").getImageData(0, 0, copy.width, copy.height).data).filter(v => v).length;
    }"""
    assert page.evaluate(inked) > 1000
    page.emulate_media(media="print")
    assert page.is_visible(".print-copy")
    assert not page.is_visible("#find")
