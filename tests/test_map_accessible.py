"""The map for those who do not see it, or do not use a mouse: axe-core in each state, and the keyboard. Invented data.

axe-core (the rules for WCAG 2.0 to 2.2, A and AA, and its best practices) is run by axe-playwright-python. It cannot
see into a canvas: what the two canvases show is held by the slider's words and by the table, which are tested here.
"""

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, PHONE, chosen, find, keep, until
from tests.map_record import invented

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPTIONS = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations", "passes"]}


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return invented()


def start(page: Page) -> None:
    assert page.is_visible("#list-rows")


def card_of_a_joint(page: Page) -> None:
    find(page, "J0004")


def card_of_a_gap(page: Page) -> None:
    page.click("#list-table button:has-text('Gap') >> nth=0")


def search_results(page: Page) -> None:
    page.fill("#find", "00")
    assert page.locator("#found button").count() == 8


def a_picked_set(page: Page) -> None:
    page.click("#narrow summary")
    page.select_option("#narrow select >> nth=0", index=1)


def an_evening(page: Page) -> None:
    page.click("#evening button[aria-label='The evening before']")
    page.click("#evening button[aria-label='The evening before']")


def no_phone_position(page: Page) -> None:
    find(page, "J0004")
    page.click("#phone")
    page.wait_for_selector("#phone-says button")


def for_the_sun(page: Page) -> None:
    find(page, "J0004")
    page.click("#sun")


# On a phone the parts are the same, laid out in one column: half of the states show each of them.
STATES = {
    "desk": [start, card_of_a_joint, card_of_a_gap, search_results, a_picked_set, an_evening, for_the_sun],
    "phone": [start, no_phone_position, search_results, for_the_sun],
}


def faults(page: Page) -> list[str]:
    """Return what axe-core finds, one line an element; and hold that it looked at something.

    The bar at the foot is laid out with the rest meanwhile: what it covers just now is scrolled free by a reader, and
    axe-core would call it too small a target.
    """
    page.evaluate("document.getElementById('thumb').style.position = 'static'")
    found: dict[str, Any] = Axe().run(page, options=OPTIONS).response
    assert {"color-contrast", "list", "html-has-lang"} <= {one["id"] for one in found["passes"]}
    return [f"{one['id']}: {node['html'][:200]}" for one in found["violations"] for node in one["nodes"]]


@pytest.mark.parametrize(("size", "device"), [("desk", DESK), ("phone", PHONE)])
def test_axe_finds_no_fault_in_any_state(record, opened, size, device):
    page, found = opened(record, device), {}
    for state in STATES[size]:
        page.reload()
        until(page, "window.asbuilt !== undefined")
        state(page)
        keep(page, f"accessible_{size}_{state.__name__}")
        found[state.__name__] = faults(page)
    assert found == {state.__name__: [] for state in STATES[size]}


def test_axe_would_have_found_one(record, opened):
    page = opened(record, DESK)
    page.evaluate("document.querySelector('#find-part label').remove()")
    page.evaluate("document.getElementById('list-says').style.color = '#BBBBBB'")
    page.evaluate("document.querySelector('#find').removeAttribute('placeholder')")
    said = " ".join(faults(page))
    assert "label: <input" in said
    assert 'color-contrast: <p id="list-says"' in said


def test_axe_finds_no_fault_without_scripts(record, opened, tmp_path):
    """axe is a script itself: it gets the page as a browser without scripts lays it out."""
    text = re.sub(r"<script.*?</script>|</?noscript>", "", webmap.page(record), flags=re.DOTALL)
    (tmp_path / "still.html").write_text(text, encoding="utf-8")
    page = opened(tmp_path / "still.html", PHONE, ready="() => document.readyState === 'complete'")
    assert page.is_visible(".unscripted")
    assert faults(page) == []


# ---- keyboard --------------------------------------------------------------------------------------------------------

FOCUSED = """() => {
  const one = document.activeElement, box = one.getBoundingClientRect(), style = getComputedStyle(one);
  const order = Array.from(document.querySelectorAll("*")).indexOf(one);
  const isRinged = one.matches(":focus-visible") && style.outlineStyle !== "none";
  return { order, tag: one.tagName, name: (one.getAttribute("aria-label") || one.textContent).trim(), id: one.id,
    outline: isRinged ? parseFloat(style.outlineWidth) : 0,
    seen: box.width > 0 && box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth };
}"""
REACHABLE = """() => Array.from(document.querySelectorAll("button, input, select, summary, a[href], [tabindex='0']"))
  .filter(one => one.offsetParent !== null && !one.disabled && !one.closest("details:not([open]) > :not(summary)"))
  .map(one => Array.from(document.querySelectorAll("*")).indexOf(one))"""


def walked(page: Page, key: str = "Tab") -> list[dict[str, Any]]:
    """Press a key until the focus comes back to where it was, and return what had it in turn."""
    stops: list[dict[str, Any]] = []
    for _ in range(200):
        page.keyboard.press(key)
        stop = page.evaluate(FOCUSED)
        if stop["order"] in [one["order"] for one in stops]:
            return [one for one in stops if one["tag"] != "BODY"]  # there the browser's own parts would have it
        stops.append(stop)
    raise AssertionError("the keyboard does not come round")


def test_the_keyboard_reaches_everything_in_order_and_shows_where_it_is(record, opened):
    page = opened(record, DESK)
    find(page, "J0004")
    page.click("#narrow summary")
    stops, reachable = walked(page), page.evaluate(REACHABLE)
    assert {stop["order"] for stop in stops} == set(reachable)
    turns = [stop["order"] for stop in stops]
    first = turns.index(min(turns))
    assert turns[first:] + turns[:first] == sorted(reachable)  # as it is read
    assert [stop["name"] for stop in stops if not stop["seen"]] == []
    assert [stop["name"] for stop in stops if stop["outline"] < 2] == []
    assert len(stops) > 40
    back = walked(page, "Shift+Tab")
    assert {stop["order"] for stop in back} == set(reachable)


def test_escape_closes_what_the_search_shows(record, opened):
    page = opened(record, DESK)
    page.fill("#find", "003")
    assert page.locator("#found button").count() == 8
    page.press("#find", "Escape")
    assert page.locator("#found button").count() == 0
    assert page.input_value("#find") == ""
    page.fill("#find", "003")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent").startswith("Joint J0003")
    page.keyboard.press("Escape")
    assert page.locator("#found button").count() == 0
    assert page.evaluate("document.activeElement.id") == "find"


def test_a_joint_is_found_opened_and_closed_by_keys_alone(record, opened):
    page = opened(record, DESK)
    page.focus("#find")
    page.keyboard.type("J0004")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.textContent") == "Joint J0004"  # a screen reader begins to read here
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement.className") == "close"
    page.keyboard.press("Enter")
    assert not page.is_visible("#card")
    assert page.evaluate("document.activeElement.id") == "find"  # the focus is not lost with the card


def test_walking_along_the_line_keeps_the_button_under_the_hand(record, opened):
    page = opened(record, PHONE)
    find(page, "J0002")
    page.focus("#chosen [data-lead='before']")
    for key, joint_id, label in (("Enter", "J0001", "Card"), ("Shift+Tab", "J0001", "Joint after, J0002")):
        page.keyboard.press(key)
        assert page.locator("#chosen strong").first.inner_text() == joint_id
        name = "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
        assert page.evaluate(name) == label
    page.click("#chosen [data-lead='card']")
    page.click("#card .neighbours button >> nth=-1")
    assert page.evaluate("document.activeElement.textContent") == "Joint J0002"


def at_hand(page: Page) -> dict[str, Any]:
    """What has the keyboard: its tag, its text, and whether it is in sight and under no bar that stays in place."""
    return page.evaluate(
        """() => {
          const one = document.activeElement, box = one.getBoundingClientRect();
          const at = [box.left + Math.min(20, box.width / 2), box.top + Math.min(20, box.height / 2)];
          const top = document.elementFromPoint(...at);
          return { tag: one.tagName, text: one.textContent, seen: one.contains(top) };
        }"""
    )


@pytest.mark.parametrize("device", [DESK, PHONE], ids=["desk", "phone"])
def test_a_first_link_skips_to_the_list(record, opened, device):
    page = opened(record, device)
    page.evaluate("location.hash = '#evening=2026-03-13'")
    link = page.locator("#to-list")
    assert link.bounding_box()["y"] + link.bounding_box()["height"] <= 0  # out of sight
    page.keyboard.press("Tab")
    assert at_hand(page) == {"tag": "A", "text": "To the outstanding list", "seen": True}
    assert link.bounding_box()["height"] >= 44
    keep(page, f"accessible_skip_{device['viewport']['width']}")
    page.keyboard.press("Enter")
    assert at_hand(page) == {"tag": "H2", "text": f"Outstanding: {record.counts.outstanding}", "seen": True}
    page.keyboard.press("Tab")
    assert at_hand(page)["tag"] == "SELECT"
    page.keyboard.press("Tab")
    assert at_hand(page)["text"] == page.locator("#list-rows button").first.text_content()
    assert at_hand(page)["seen"]
    assert page.evaluate("location.hash") == "#evening=2026-03-13"


@pytest.mark.parametrize("device", [DESK, PHONE], ids=["desk", "phone"])
def test_the_arrow_keys_reach_rows_that_made_no_joint(record, opened, device):
    page = opened(record, device)
    page.locator("#list-rows button").last.focus()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowDown")
    last = chosen(page)
    assert last is not None
    page.keyboard.press("ArrowDown")
    assert at_hand(page)["tag"] == "TR"
    assert "row set aside: no joint number <b>at all</b>" in at_hand(page)["text"]
    assert at_hand(page)["seen"]
    assert chosen(page) is None  # it is nowhere on the map: the one before is not shown for it
    assert page.evaluate(FOCUSED)["outline"] >= 2
    page.keyboard.press("ArrowDown")
    assert at_hand(page)["tag"] == "TR"  # the end
    page.keyboard.press("ArrowUp")
    assert chosen(page) == last


@pytest.mark.parametrize("press", ["Enter", "a finger"])
def test_on_a_phone_the_list_brings_the_card_into_view_and_escape_leads_back(record, opened, press):
    page = opened(record, PHONE)
    row = page.locator("#list-rows tr.opens").last
    name = row.locator("button").text_content()
    row.locator("button").scroll_into_view_if_needed()
    if press == "Enter":
        row.locator("button").focus()
        page.keyboard.press("Enter")
    else:
        row.locator("td").last.tap()  # a tap beside the button counts too
    top = page.locator("#card").bounding_box()["y"]
    assert -1 <= top < 844 / 2
    assert at_hand(page) == {"tag": "H2", "text": name, "seen": True}
    page.keyboard.press("Escape")
    assert not page.is_visible("#card")
    assert chosen(page) is None
    assert at_hand(page) == {"tag": "BUTTON", "text": name, "seen": True}


@pytest.mark.parametrize("press", [lambda page: page.press("#find", "Enter"), lambda page: page.tap("#found button")])
def test_on_a_phone_the_search_leads_to_the_head_of_the_card(record, opened, press):
    """A browser keeps in place what it shows below; the card that grows above it must not be left behind."""
    page = opened(record, PHONE)
    page.tap("#thumb button:has-text('Find')")
    page.keyboard.type("J0030")
    press(page)
    page.wait_for_timeout(300)  # a browser mends its place a moment later
    head, bar = page.locator("#card h2").bounding_box(), page.locator("#thumb").bounding_box()
    assert 0 <= head["y"] < bar["y"] / 3
    assert page.evaluate("document.activeElement === document.querySelector('#card h2')")


def test_closing_the_card_with_a_finger_leads_back_to_its_row(record, opened):
    page = opened(record, PHONE)
    row = page.locator("#list-rows tr.opens").last
    row.locator("button").tap()
    page.locator("#card .close").tap()
    assert at_hand(page) == {"tag": "BUTTON", "text": row.locator("button").text_content(), "seen": True}


def test_escape_closes_the_card_from_wherever_the_keyboard_is(record, opened):
    page = opened(record, DESK)
    page.locator("#list-rows button").first.focus()
    page.keyboard.press("ArrowDown")
    name = at_hand(page)["text"]
    assert page.is_visible("#card")
    page.keyboard.press("Escape")
    assert not page.is_visible("#card")
    assert at_hand(page)["text"] == name  # the keyboard stays in the list
    find(page, "J0002")
    page.focus("#chosen [data-lead='before']")
    page.keyboard.press("Escape")
    assert not page.is_visible("#card")
    assert page.evaluate("document.activeElement.classList.contains('folium-map')")  # what had it is gone
    find(page, "J0002")
    page.focus("#find")
    page.keyboard.press("Escape")  # there it empties the search
    assert page.is_visible("#card")


def test_on_a_phone_the_list_is_a_table_still_and_its_reasons_have_the_width(record, opened):
    page = opened(record, PHONE)
    table = page.get_by_role("table", name=f"Outstanding: {record.counts.outstanding}")
    assert table.get_by_role("columnheader").all_inner_texts() == ["Station", "What", "Why"]
    rows = table.get_by_role("row")
    assert rows.count() == record.counts.outstanding + 1
    assert [rows.nth(i).get_by_role("cell").count() for i in range(1, rows.count())] == [3] * (rows.count() - 1)
    wide = page.evaluate(
        "Array.from(document.querySelectorAll('#list-rows td:last-child'), one => one.getBoundingClientRect().width)"
    )
    assert min(wide) > 340  # of 390 pixels


def test_the_map_moves_by_keys(record, opened):
    page = opened(record, DESK)
    where = "[map_of_joints.getCenter().lng, map_of_joints.getZoom()]"
    page.focus(".folium-map")
    east, zoom = page.evaluate(where)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("+")
    until(page, "zoom => map_of_joints.getZoom() > zoom", zoom)
    assert page.evaluate(where)[0] > east


# ---- what a screen reader is told -----------------------------------------------------------------------------------


def test_what_the_canvas_shows_is_told_in_words(record, opened):
    page = opened(record, DESK)
    slider = page.get_by_role("slider", name="Along line main")
    slider.focus()
    page.keyboard.press("Home")
    until(page, "document.querySelector('.tape-strip').getAttribute('aria-valuetext').startsWith('0+000')")
    page.keyboard.press("ArrowRight")
    until(page, "window.asbuilt.chosen() !== null")
    row = chosen(page)["row"]
    joint = record.tables["joints"].iloc[row]
    until(
        page,
        "words => document.querySelector('.tape-strip').getAttribute('aria-valuetext').includes(words)",
        f"joint {joint['joint_id']}, fusion {joint['fusion_verdict']}, position {joint['position_verdict']}",
    )
    table = page.get_by_role("table", name=f"Outstanding: {record.counts.outstanding}")
    assert table.get_by_role("columnheader").all_inner_texts() == ["Station", "What", "Why"]
    assert table.get_by_role("row").count() == record.counts.outstanding + 1
    mute = "Array.from(document.querySelectorAll('canvas:not([aria-hidden]):not([role])'), one => one.outerHTML)"
    assert page.evaluate(mute) == []


def test_every_part_has_a_name_and_changes_are_announced(record, opened):
    page = opened(record, DESK)
    assert page.get_attribute("html", "lang") == "en"
    for name in ("Along the chainage", "Days", "Tools", "Key", "List"):
        assert page.get_by_role("region", name=name, exact=True).count() == 1, name
    assert page.get_by_role("region", name="Map. The list, the search").count() == 1
    assert page.get_by_role("search").count() == 1
    announced = "['at-once', 'found', 'listed', 'day-says'].map(id => document.getElementById(id).getAttribute('role'))"
    assert page.evaluate(announced) == ["status"] * 4


def test_a_reader_who_wants_no_motion_gets_none(record, opened):
    page = opened(record, DESK)  # every page of the tests asks for reduced motion
    assert page.evaluate("matchMedia('(prefers-reduced-motion: reduce)').matches")
    page.evaluate("window.moves = 0, map_of_joints.on('zoomanim', () => { window.moves++; })")
    find(page, "J0004")
    zoom = page.evaluate("asbuilt.zoom()")
    page.click(".leaflet-control-zoom-in")
    assert page.evaluate("asbuilt.zoom()") > zoom  # there at once
    page.focus(".folium-map")
    page.keyboard.press("ArrowRight")
    assert page.locator(".leaflet-pan-anim").count() == 0
    assert page.evaluate("window.moves") == 0
    assert page.evaluate("Array.from(document.getAnimations()).length") == 0
