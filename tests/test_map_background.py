"""What lies behind the line: nothing by default, layers of the route folder drawn quietly, tiles only where named.

All data is invented; the host of the tiles is one that RFC 2606 keeps for examples, and is answered by the test.
"""

import base64
import dataclasses
import re

import numpy as np
import pytest
import shapely
from playwright.sync_api import Page, Route

from asbuilt import look
from asbuilt.as_built import AsBuilt, Context, Tiles
from asbuilt.publish import webmap
from tests.map_pages import DESK, Opener, card, find, keep, until
from tests.map_record import geographic, invented

TILES = Tiles("https://tiles.example.org/{z}/{x}/{y}.png", "Invented mapping office <2026>", 19)
# One pixel of a picture, PNG, green.
TILE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M/wHwAEBgIApD5fRAAAAABJRU5ErkJggg=="
)


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return invented()


def with_context(record: AsBuilt) -> AsBuilt:
    """Return the record with a field, a fence along it and a pole, at places that the test knows."""
    x, y = 512300.0, 5260150.0
    shapes = [
        shapely.box(x, y, x + 80, y + 60),
        shapely.LineString([(x, y - 40), (x + 200, y - 40)]),
        shapely.Point(x + 150, y - 100),
    ]
    labels = np.array(["", "Fence <b>", "Pole 7"], dtype=object)
    layer = Context("Land of others <x>", "context/land.gpkg", np.array(shapes, dtype=object), labels)
    return dataclasses.replace(record, context=(layer,))


def brightness(colour: str) -> float:
    return sum(int(colour[i : i + 2], 16) for i in (1, 3, 5)) / 3


def pixel_at(page: Page, easting: float, northing: float) -> tuple[float, float]:
    """Where a place of the route's frame is in the window. GDA2020 stands for WGS 84: less than a pixel here."""
    (longitude,), (latitude,) = geographic([shapely.Point(easting, northing)])
    spot = """place => {
      const at = map_of_joints.latLngToContainerPoint(place);
      const box = map_of_joints.getContainer().getBoundingClientRect();
      return [box.left + at.x, box.top + at.y];
    }"""
    return tuple(page.evaluate(spot, [latitude, longitude]))


# As `colour_of`, laid on the paper that shows through.
ON_PAPER = """([x, y, around]) => {
  const canvas = document.querySelector(".leaflet-overlay-pane canvas"), box = canvas.getBoundingClientRect();
  const ratio = canvas.width / box.width, size = 2 * around + 1;
  const paper = Object.assign(document.createElement("canvas"), { width: size, height: size }).getContext("2d");
  paper.fillStyle = "#FFFFFF";
  paper.fillRect(0, 0, size, size);
  const left = Math.round((x - box.left) * ratio) - around, top = Math.round((y - box.top) * ratio) - around;
  paper.drawImage(canvas, left, top, size, size, 0, 0, size, size);
  const hex = (v) => v.toString(16).padStart(2, "0").toUpperCase(), data = paper.getImageData(0, 0, size, size).data;
  const colour = (_, i) => "#" + hex(data[4 * i]) + hex(data[4 * i + 1]) + hex(data[4 * i + 2]);
  return Array.from({ length: size * size }, colour);
}"""


def inked(page: Page, easting: float, northing: float, around: int = 3) -> list[str]:
    """The colours of the map about a place."""
    return page.evaluate(ON_PAPER, [*pixel_at(page, easting, northing), around])


LISTENING = """
  window.texts = [];
  const fillText = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (text) {
    window.texts.push(text);
    return fillText.apply(this, arguments);
  };
"""


def test_layers_of_others_are_quiet_and_named(record, opened):
    page = opened(with_context(record), DESK, script=LISTENING)
    field = inked(page, 512340, 5260180, around=1)
    assert {brightness(colour) for colour in field} <= {float(v) for v in range(225, 250)}  # a tint, hardly seen
    fence = inked(page, 512400, 5260110)
    darkest = min(brightness(colour) for colour in fence)
    assert 100 < darkest < 200
    assert darkest > brightness(look.LINE) + 40  # the line itself is far darker
    for colour in (*field, *fence):  # grey, as no verdict is
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert max(red, green, blue) - min(red, green, blue) <= 4
    assert {"Fence <b>", "Pole 7"} <= set(page.evaluate("window.texts"))
    assert "Behind: Land of others <x>" in page.inner_text(".key")
    assert page.locator(".key x, .key li b:has-text('others')").count() == 0
    keep(page, "background_layers")


def test_the_line_lies_over_what_is_behind_it(record, opened):
    joint = record.tables["joints"].set_index("joint_id").loc["J0030"]
    over = shapely.box(joint["easting"] - 200, joint["northing"] - 200, joint["easting"] + 200, joint["northing"] + 200)
    layer = Context("Field", "context/f.gpkg", np.array([over], dtype=object), np.array([""], dtype=object))
    page = opened(dataclasses.replace(record, context=(layer,)), DESK)
    find(page, "J0030")
    page.click("#card .close")
    colour = inked(page, joint["easting"], joint["northing"], around=0)[0]
    assert colour == look.FUSION[joint["fusion_verdict"]].fill


def test_paper_has_the_layers_too(record, opened):
    page = opened(with_context(record), DESK, script=LISTENING)
    page.evaluate("window.texts = []; window.dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate("window.texts").count("Pole 7") == 2  # a copy for either way of the sheet


def test_by_default_there_is_nothing_behind(record, opened):
    page = opened(record, DESK)
    assert "Behind" not in page.inner_text(".key")
    assert page.locator(".network").count() == 0
    assert page.locator("img").count() == 0
    policy = page.get_attribute("meta[http-equiv='Content-Security-Policy']", "content")
    assert "img-src" not in policy
    assert "http" not in policy
    assert set(inked(page, 512340, 5260180)) == {"#FFFFFF"}


# ---- tiles -----------------------------------------------------------------------------------------------------------


class Served(Opener):
    """Opens maps with somebody who serves tiles beside them, and remembers what was asked of him."""

    asked: list[str]

    def _ask(self, route: Route) -> None:
        if route.request.url.startswith("https://tiles.example.org/"):
            self.asked.append(route.request.url)
            assert "referer" not in route.request.headers  # where the page lies is nobody's business
            route.fulfill(body=TILE, content_type="image/png")
        else:
            super()._ask(route)


@pytest.fixture
def served(browser, tmp_path):
    opener = Served(browser, tmp_path)
    opener.asked = []
    yield opener
    opener.close()  # holds that nobody else was asked


def test_tiles_are_asked_of_the_named_host_alone_and_the_page_says_so(record, served):
    page = served(dataclasses.replace(record, tiles=TILES), DESK)
    until(page, "document.querySelectorAll('img.leaflet-tile-loaded').length > 0")
    assert len(served.asked) > 0
    assert all(re.fullmatch(r"https://tiles\.example\.org/\d+/\d+/\d+\.png", url) for url in served.asked)
    said = page.inner_text(".network")
    assert "The map loads a background from tiles.example.org" in said
    assert "it needs a network, and whoever runs it sees where the asset lies" in said
    assert "Background: Invented mapping office <2026>." in said
    policy = page.get_attribute("meta[http-equiv='Content-Security-Policy']", "content")
    assert re.findall(r"img-src ([^;]*);", policy) == ["https://tiles.example.org data:"]  # and what the page carries
    assert policy.count("https:") == 1
    assert page.is_visible(".network")
    keep(page, "background_tiles")


def test_without_a_network_the_record_is_there_all_the_same(record, opened):
    page = opened(dataclasses.replace(record, tiles=TILES), DESK)
    find(page, "J0004")
    assert "Joint J0004" in card(page)
    assert page.evaluate("window.asbuilt.drawn().joints") > 0
    assert {url.split("/")[2] for url in opened.strangers} == {"tiles.example.org"}
    assert all("net::ERR_FAILED" in text for text in opened.complaints)  # the test itself refused the tiles
    opened.strangers.clear()
    opened.complaints.clear()


def test_a_name_of_tiles_cannot_leave_its_place(record):
    nasty = Tiles("https://tiles.example.org/{z}/{x}/{y}.png?k=\"'></script>", "</p><script>alert(1)</script>", 19)
    text = webmap.page(dataclasses.replace(record, tiles=nasty))
    assert text.count("<script") == webmap.page(record).count("<script")
    assert "alert(1)</script>" not in text
