"""The photo in the card of a joint, in a browser: small, enlarged in place, by finger and by keyboard. All invented."""

import dataclasses
import io

import pytest
from PIL import Image

from asbuilt.as_built import AsBuilt, Photo
from tests.map_pages import DESK, DEVICES, PHONE, card, find, keep, until
from tests.map_record import NASTY, invented

RED = (200, 30, 30)
ALT = "Photo of joint J0004 as recorded: left bead.jpg"


def picture(width: int, height: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), RED).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    photos = (
        Photo("J0004", "left bead.jpg", picture(640, 480), 640, 480),
        Photo("J0004", "upright.jpg", picture(200, 640), 200, 640),
        Photo("J0004", "lost.jpg", why="is not in the route folder"),
        Photo("J0007", NASTY[3], picture(640, 480), 640, 480),
        Photo("J0008", NASTY[0], why="is an address"),
    )
    return dataclasses.replace(invented(), photos=photos)


def box(page, what=".photo img >> nth=0"):
    return page.locator(what).bounding_box()


@DEVICES
def test_the_card_shows_what_the_record_names(record, opened, device):
    page = opened(record, device)
    find(page, "J0004")
    pictures = page.locator("#card .photo img")
    pictures.first.scroll_into_view_if_needed()
    until(page, "() => [...document.querySelectorAll('.photo img')].every((i) => i.complete && i.naturalWidth > 0)")
    assert pictures.evaluate_all("all => all.map((i) => [i.naturalWidth, i.naturalHeight])") == [[640, 480], [200, 640]]
    names = ["width", "height", "alt", "loading"]
    told = pictures.first.evaluate("(image, names) => names.map((name) => image.getAttribute(name))", names)
    assert told == ["640", "480", ALT, "lazy"]
    assert page.locator("#card figcaption").all_text_contents() == ["left bead.jpg", "upright.jpg"]
    assert "Photo not carried in this page: lost.jpg (is not in the route folder)." in card(page)
    heads = page.locator("#card h3").all_text_contents()
    assert heads[heads.index("Position") + 1] == "Photos"
    assert box(page)["width"] / box(page)["height"] == pytest.approx(4 / 3, rel=0.01)
    keep(page, f"photo {device['viewport']['width']}")


@DEVICES
def test_a_press_enlarges_it_in_place_and_another_makes_it_small(record, opened, device):
    page = opened(record, device)
    find(page, "J0004")
    press = page.get_by_role("button", name=ALT)
    press.scroll_into_view_if_needed()
    small, wide = box(page), page.locator("#card").bounding_box()["width"]
    (press.tap if device is PHONE else press.click)()
    assert press.get_attribute("aria-expanded") == "true"
    large = box(page)
    assert large["width"] > 1.4 * small["width"]
    assert 0.85 * wide < large["width"] <= wide
    assert large["width"] / large["height"] == pytest.approx(4 / 3, rel=0.01)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    keep(page, f"photo large {device['viewport']['width']}")
    (press.tap if device is PHONE else press.click)()
    assert press.get_attribute("aria-expanded") == "false"
    assert box(page)["width"] == pytest.approx(small["width"])


@pytest.mark.parametrize("key", ["Enter", "Space"])
def test_the_keyboard_does_the_same(record, opened, key):
    page = opened(record, DESK)
    find(page, "J0004")
    page.get_by_role("button", name="Waypoint for a receiver (GPX)").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.querySelector('img').alt") == ALT
    small = box(page)
    page.keyboard.press(key)
    assert page.evaluate("document.activeElement.getAttribute('aria-expanded')") == "true"
    assert box(page)["width"] > 1.4 * small["width"]
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.querySelector('img').alt").endswith("upright.jpg")


def test_names_are_shown_as_they_were_written(record, opened):
    page = opened(record, DESK)
    find(page, "J0007")
    assert page.locator("#card figcaption").text_content() == NASTY[3]
    assert page.locator(".photo img").get_attribute("alt").endswith(NASTY[3])
    find(page, "J0008")
    assert f"Photo not carried in this page: {NASTY[0]} (is an address)." in card(page)
    assert page.locator("#card img").count() == 0
    assert page.title() != "taken"


def test_a_joint_without_a_photo_says_nothing_of_one(record, opened):
    page = opened(record, DESK)
    find(page, "J0005")
    assert "Joint J0005" in card(page)
    assert "hoto" not in card(page).replace("Photo file", "")
    page = opened(invented(), DESK)
    find(page, "J0004")
    assert "Joint J0004" in card(page)
    assert page.locator("#card img").count() == 0


@DEVICES
def test_on_paper_it_is_small_however_it_was_left(record, opened, device):
    page = opened(record, device)
    find(page, "J0004")
    page.get_by_role("button", name=ALT).click()
    page.emulate_media(media="print")
    assert box(page)["height"] == pytest.approx(40 / 25.4 * 96, abs=1)  # 40 mm at 96 pixels an inch
    assert box(page)["width"] == pytest.approx(box(page)["height"] * 4 / 3, rel=0.02)


def test_no_picture_but_those_carried_is_let_in(opened):
    """A page without photos lets none in: not even one that lies in the page."""
    page = opened(invented(), DESK)
    page.evaluate(
        """() => {
          window.refused = new Promise((done) => document.addEventListener("securitypolicyviolation", done));
          document.body.append(Object.assign(new Image(), { src: "data:image/jpeg;base64,AAAA" }));
        }"""
    )
    assert page.evaluate("window.refused.then((event) => event.effectiveDirective)") == "img-src"
    opened.complaints.clear()  # the browser says the same on its console
