"""The map on paper: each sheet by itself, the first of use alone, the scale bar of the right length. Invented data.

The sheets are read by pypdf, which needs no program beside Python, as one that draws pages would: what is drawn is
looked at on the copy that the page makes for paper. Sheet sizes: ISO 216 and ANSI/ASME Y14.1 (both from memory).
"""

import dataclasses
import io
import unicodedata
from typing import Any

import numpy as np
import pypdf
import pyproj
import pytest
from playwright.sync_api import Page

from asbuilt import cautions, tables
from asbuilt.as_built import AsBuilt
from tests.map_pages import DESK, PHONE, find, keep
from tests.map_record import CRS, invented, made

SHEETS = {"A4": (210, 297), "A3": (297, 420), "Letter": (215.9, 279.4), "Tabloid": (279.4, 431.8)}  # mm
POINT = 25.4 / 72  # mm
HEAD = "Invented demonstration route <4>. Revision P01, as of 20 March 2026 17:30 (UTC+00:00)"
EVERY = pytest.mark.parametrize("across", [False, True], ids=["upright", "across"])


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return invented()


def plain(text: str) -> str:
    """Return a text without its line breaks, and with letters for the ligatures of a printed face."""
    return " ".join(unicodedata.normalize("NFKC", text).split())


def printed(page: Page, sheet: str, across: bool) -> list[str]:
    """Return the text of each sheet; and hold that each has the size that was asked for."""
    pdf = pypdf.PdfReader(io.BytesIO(page.pdf(format=sheet, landscape=across)))
    size = SHEETS[sheet][::-1] if across else SHEETS[sheet]
    for one in pdf.pages:
        assert [float(one.mediabox.width) * POINT, float(one.mediabox.height) * POINT] == pytest.approx(size, abs=0.5)
    return [plain(one.extract_text()) for one in pdf.pages]


@EVERY
def test_the_first_sheet_is_of_use_by_itself_and_none_is_empty(record, opened, across):
    page = opened(record, DESK)
    for sheet in SHEETS:
        texts = printed(page, sheet, across)
        for number, text in enumerate(texts, start=1):
            assert HEAD in text, (sheet, number)
            assert f"{number} of {len(texts)}" in text, (sheet, number)
            assert "Not a utility locate. Positions are estimates; the cautions are on the last page." in text
            assert len(text) > 300, (sheet, number)  # head and foot alone are 200
        for words in ("55 joints:", "660 of 732 m covered", "Position in window (no ring)", cautions.CAUTIONS[0]):
            assert words in texts[0], (sheet, words)
        assert "Outstanding" not in texts[0], sheet
        assert "Outstanding: 13" in texts[1], sheet
        for caution in cautions.CAUTIONS:
            assert caution in texts[-1], sheet
        assert len(texts) <= 4, sheet


@EVERY
def test_what_is_chosen_comes_next_and_the_list_is_whole(record, opened, across):
    page = opened(record, DESK)
    find(page, "J0004")
    texts = printed(page, "A4", across)
    assert "J0004 at 0+048.00" in texts[0]
    assert texts[1].index("Joint J0004 Fusion: out of window") < 400
    assert cautions.IN_SHORT in " ".join(texts)
    listed = " ".join(texts).split("Outstanding: 13")[1]
    for name in page.locator("#list-rows td:nth-child(2)").all_inner_texts():
        assert plain(name) in listed
    for button in ("Copy", "Close", "GPX", "Whole route", "Phone position", "Play"):
        assert button not in " ".join(texts), button


def test_a_narrowed_list_says_on_paper_that_it_is(record, opened):
    page = opened(record, DESK)
    page.select_option("#list-table select", "gap")
    text = " ".join(printed(page, "A4", False))
    assert "Show gap (2)" in text
    assert "Listed 2 of 2, by station." in text


def test_a_long_list_is_printed_whole(record, opened):
    """The screen makes a hundred rows at a time; paper has no button for more."""
    rows = 150
    files = {"source_file": ["records/crew_a.csv"] * rows, "source_row": range(100, 100 + rows)}
    said = {"outcome": ["set aside"] * rows, "outstanding": [True] * rows, "reason": ["no joint number"] * rows}
    aside = made(tables.RECORDS, rows, **files, **said)
    page = opened(dataclasses.replace(record, tables={**record.tables, "records": aside}), DESK)
    assert page.locator("#list-rows tr").count() == 100
    text, count = " ".join(printed(page, "A4", False)), page.evaluate("window.asbuilt.outstanding")
    assert count == 12 + rows
    assert f"Listed {count} of {count}, by station." in text
    for row in range(100, 100 + rows):
        assert f"records/crew_a.csv, row {row} " in text


def test_for_the_sun_or_on_a_phone_the_sheets_are_the_same(record, opened):
    page = opened(record, PHONE)
    page.click("#sun")
    texts = printed(page, "Letter", False)
    assert len(texts) <= 4
    assert cautions.CAUTIONS[0] in texts[0]


def test_an_evening_is_named_on_paper(record, opened):
    page = opened(record, DESK)
    assert "12 March 2026 to" not in printed(page, "A4", False)[0]
    page.click("#evening button[aria-label='The evening before']")
    page.click("#evening button[aria-label='The evening before']")
    assert "By the evening of 16 March 2026" in printed(page, "A4", False)[0]


# ---- the copy of the map ---------------------------------------------------------------------------------------------

BLACK_RUNS = """name => {
  const copy = document.querySelector(".print-copy." + name), c = copy.getContext("2d");
  const data = c.getImageData(0, 0, copy.width, copy.height).data, dark = (x, y) => {
    const i = 4 * (y * copy.width + x);
    return data[i + 3] > 200 && data[i] < 40;
  };
  let best = [0, 0, 0];
  for (let y = Math.floor(copy.height * 0.9); y < copy.height; y++) {  // the scale stands at the foot, on the left
    for (let x = 0, run = 0; x < copy.width / 2; x++) {
      run = dark(x, y) ? run + 1 : 0;
      if (run > best[0]) best = [run, x - run + 1, y];
    }
  }
  return { length: best[0], width: copy.width, height: copy.height };
}"""
# What is written and stamped on the copies, in their pixels.
WORDS = """
  window.texts = [];
  const fillText = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
    if (this.canvas.className.startsWith("print-copy")) {
      const at = this.getTransform().transformPoint({ x, y });
      window.texts.push([this.canvas.className, text, at.x, at.y]);
    }
    return fillText.apply(this, arguments);
  };
  const draw = CanvasRenderingContext2D.prototype.drawImage;
  window.stamps = [];
  CanvasRenderingContext2D.prototype.drawImage = function (image, x, y, w, h) {
    if (this.canvas.className.startsWith("print-copy")) {
      const at = this.getTransform().transformPoint({ x: x + w / 2, y: y + h / 2 });
      window.stamps.push([this.canvas.className, at.x, at.y]);
    }
    return draw.apply(this, arguments);
  };
"""


def on_copy(page: Page, name: str) -> dict[str, Any]:
    """Return the pixels of the scale bar, what it says, and the two stamps of joints that lie farthest apart."""
    bar = page.evaluate(BLACK_RUNS, name)
    texts = [text for where, text, *_ in page.evaluate("window.texts") if where.endswith(name)]
    stamps = np.array([[x, y] for where, x, y in page.evaluate("window.stamps") if where.endswith(name)])
    return {"bar": bar["length"], "texts": texts, "stamps": stamps, "size": (bar["width"], bar["height"])}


@pytest.mark.parametrize("name", ["upright", "across"])
def test_the_scale_bar_is_as_long_as_it_says(record, opened, name):
    """Against the distance of two joints, the first and the last on the map: pixels here, and metres by pyproj.Geod."""
    page = opened(record, DESK, script=WORDS)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    seen = on_copy(page, name)
    said = float(next(text for text in seen["texts"] if text.endswith(" m") and "," not in text).split()[0])
    placed = record.tables["joints"][record.tables["joints"]["geometry"].notna()]
    first, last = placed.iloc[0], placed.iloc[-1]
    to = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    ends = [to.transform(one["easting"], one["northing"]) for one in (first, last)]
    metres = pyproj.Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2]
    apart = np.linalg.norm(seen["stamps"][:, None] - seen["stamps"][None], axis=2).max()
    assert seen["bar"] / said == pytest.approx(apart / metres, rel=0.02)  # the bar's frame is a pixel or two wide
    assert seen["bar"] > seen["size"][0] / 15


@pytest.mark.parametrize("name", ["upright", "across"])
def test_north_and_every_joint_are_on_the_copy(record, opened, name):
    page = opened(record, DESK, script=WORDS)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    seen = on_copy(page, name)
    assert "N" in seen["texts"]
    width, height = seen["size"]
    assert ((seen["stamps"] > 0) & (seen["stamps"] < [width, height])).all()
    assert len(seen["stamps"]) >= page.evaluate("window.asbuilt.placed")
    # As large as the sheet allows: the route fills most of one side of what the screen shows of it.
    spread = np.ptp(seen["stamps"], axis=0) / [width, height]
    assert spread.max() > 0.6


@pytest.mark.parametrize(("size", "name"), [((703, 1001), "upright"), ((1032, 673), "across")])
def test_the_copy_that_fits_the_sheet_is_the_one_that_is_shown(record, opened, size, name):
    page = opened(record, DESK)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.set_viewport_size({"width": size[0], "height": size[1]})  # A4 less its margins, 96 pixels an inch
    page.emulate_media(media="print")
    keep(page, f"paper_{name}")
    assert page.is_visible(f".print-copy.{name}")
    assert page.locator(".print-copy:visible").count() == 1
    wide = """Array.from(document.querySelectorAll("main *")).filter(one => !one.closest(".folium-map"))
      .filter(one => one.getBoundingClientRect().right > innerWidth + 1).map(one => one.outerHTML.slice(0, 100))"""
    assert page.evaluate(wide) == []
    caution = page.locator(".caution").bounding_box()
    assert caution["y"] + caution["height"] <= size[1] + 1  # still on the first sheet
    assert page.locator(".map").bounding_box()["height"] > 0.4 * size[1]
    assert not page.is_visible("#find")
    assert not page.is_visible("#tools")
