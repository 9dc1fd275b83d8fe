"""The line as of any evening: the date control, what it says, what it draws. All data is invented."""

import dataclasses
import re
from typing import Any

import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import Page

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, DEVICES, PHONE, card, colour_of, find, keep, until
from tests.map_record import DAYS, invented

# The invented record has fourteen joints a day, along the line; its last day has only the trial's and few others.
TIMELESS = [4, 5]  # rows without a time


def told() -> AsBuilt:
    record = invented()
    joints = record.tables["joints"].copy()
    joints.loc[TIMELESS, "fused_local"] = ""
    return dataclasses.replace(record, tables={**record.tables, "joints": tables.conform(joints, tables.JOINTS)})


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return told()


@pytest.fixture(scope="module")
def path(record, tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "map.html"
    webmap.write_map(record, path)
    return path


@pytest.fixture(scope="module")
def shared(opener, path) -> Page:
    return opener(path, DESK)


@pytest.fixture
def desk(shared) -> Page:
    """The page with the whole record in sight and nothing chosen."""
    shared.click("#all-days")
    if shared.is_visible("#card .close"):
        shared.click("#card .close")
    shared.click("#whole-route")
    return shared


def evening(page: Page, at: int) -> None:
    """Move the slider, as a hand does."""
    page.locator("#day").evaluate("(day, at) => { day.value = at; day.dispatchEvent(new Event('input')); }", at)


def days_of(record: AsBuilt) -> pd.Series:
    """The day of March of each joint of the line; NA without a time."""
    joints = record.tables["joints"]
    return pd.to_numeric(joints.loc[joints["in_line"].astype(bool), "fused_local"].str[8:10], errors="coerce")


def covered(record: AsBuilt, day: float) -> float:
    """Metres from joint to joint, and from the ends, between joints that were made by a day; gaps left out."""
    joints, made = record.tables["joints"], days_of(record) <= day
    line = joints.loc[made.index].assign(made=made).dropna(subset="chainage_m").sort_values("chainage_m")
    at = np.array([0.0, *line["chainage_m"], record.tables["alignment"]["length_m"].iloc[0]])
    both = np.array([True, *line["made"]]) & np.array([*line["made"], True])
    wide = np.isin(at[:-1], record.tables["gaps"]["from_chainage_m"])  # here a gap fills its stretch
    return float(np.diff(at)[both & ~wide].sum())


def words(page: Page, what: str) -> str:
    return re.sub(r"\s+", " ", page.inner_text(what)).strip()


def several(count: int, thing: str) -> str:
    return f"{count} {thing}{'s' * int(count != 1)}"


# ---- counts follow ---------------------------------------------------------------------------------------------------


def test_the_control_goes_over_the_days_on_which_something_was_made(record, desk):
    days = sorted(days_of(record).dropna().unique())
    assert [desk.get_attribute("#day", name) for name in ("min", "max", "step")] == ["0", str(len(days) - 1), "1"]
    assert desk.inner_text("#day-says") == (
        f"All {len(days)} days, {days[0]:.0f} March 2026 to {days[-1]:.0f} March 2026;"
        f" {len(TIMELESS)} joints without a time stand in the whole record only."
    )
    assert desk.get_attribute("#day", "aria-valuetext") == "All days"
    assert desk.get_attribute("#all-days", "aria-pressed") == "true"


@pytest.mark.parametrize("at", range(4))
def test_the_head_counts_what_was_made_by_an_evening(record, desk, at):
    evening(desk, at)
    keep(desk, f"days-{at}")
    day, joints, gaps = days_of(record), record.tables["joints"], record.tables["gaps"]
    made = joints.loc[day.index[day <= DAYS[at]]]
    fusion = made["fusion_verdict"].value_counts()
    known = gaps[gaps["from_joint"].isin(made["joint_id"]) & gaps["to_joint"].isin(made["joint_id"])]
    missing = int(known["missing_records"].sum())
    assert words(desk, "#at-once") == (
        f"By the evening of {DAYS[at]} March 2026: {len(made)} joints: {fusion.get('in window', 0)} in window,"
        f" {fusion.get('out of window', 0)} out of window, {fusion.get('cannot tell', 0)} cannot tell,"
        f" {fusion.get('not recorded', 0)} not recorded; {several(len(known), 'gap')} with"
        f" {several(missing, 'missing record')}, {made['geometry'].isna().sum()} unplaced;"
        f" {covered(record, DAYS[at]):.0f} of 732 m covered."
    )
    assert desk.evaluate("asbuilt.counts().covered") == pytest.approx(covered(record, DAYS[at]), abs=0.01)


def test_the_whole_record_comes_back_as_it_was_written(desk):
    before = desk.inner_html("#at-once")
    evening(desk, 1)
    assert desk.inner_html("#at-once") != before
    desk.click("#all-days")
    assert desk.inner_html("#at-once") == before


@pytest.mark.parametrize("at", range(4))
def test_a_day_says_what_was_done_on_it(record, desk, at):
    evening(desk, at)
    day = days_of(record)
    that = record.tables["joints"].loc[day.index[day == DAYS[at]]]
    out = (that["fusion_verdict"] == look.OUT_OF_WINDOW).sum()
    newly = covered(record, DAYS[at]) - (covered(record, DAYS[at - 1]) if at else 0)
    outs = f", {out} out of window" if out else ""
    assert words(desk, "#day-says") == (
        f"Evening of {DAYS[at]} March 2026: that day {len(that)} joints{outs}, {newly:.0f} m newly covered."
    )
    assert desk.get_attribute("#day", "aria-valuetext") == f"Evening of {DAYS[at]} March 2026"


# ---- what is drawn ---------------------------------------------------------------------------------------------------


@DEVICES
def test_only_what_was_made_is_drawn(record, opener, path, device):
    page = opener(path, device)
    joints = record.tables["joints"]
    day = pd.to_numeric(joints["fused_local"].str[8:10], errors="coerce")
    placed = joints["geometry"].notna()
    gaps = record.tables["gaps"]
    for at in (0, 2, 3):
        evening(page, at)
        made = joints.loc[(day <= DAYS[at]) & placed]
        known = gaps["from_joint"].isin(made["joint_id"]) & gaps["to_joint"].isin(made["joint_id"])
        assert page.evaluate("asbuilt.drawn().joints") == len(made)
        assert page.evaluate("asbuilt.drawn().gaps") == known.sum()
    keep(page, f"days-drawn-{'phone' if device is PHONE else 'desk'}")
    page.click("#all-days")
    assert page.evaluate("asbuilt.drawn().joints") == placed.sum()


INK, GREY, NOTHING = "#111111", "#D4D4D4", "#000000"  # 18 % of ink on paper, by hand: 255 - 0.18 (255 - 17) = 212


def across(page: Page, joint_id: str, next_id: str) -> list[str]:
    """The colours half way between two joints, pixel by pixel away from the line: neither signs nor names are there."""
    (x, y), (to_x, to_y) = (page.evaluate("id => asbuilt.pixelOf(id)", name) for name in (joint_id, next_id))
    size = np.hypot(to_x - x, to_y - y)
    dx, dy = (to_y - y) / size, (x - to_x) / size
    x, y = (x + to_x) / 2, (y + to_y) / 2
    return [colour_of(page, ".leaflet-overlay-pane canvas", x + far * dx, y + far * dy) for far in range(3, 30)]


@pytest.mark.parametrize("closer", [None, 0, 2])
@DEVICES
def test_the_joints_of_the_day_lie_in_a_sleeve_at_each_zoom(opener, path, device, closer):
    """From beside the sign outwards: grey, an edge of ink, and nothing. At the whole route (None) too."""
    page = opener(path, device)
    if closer is not None:
        find(page, "J0018")
        page.evaluate("closer => map_of_joints.setZoom(map_of_joints.getZoom() + closer, {animate: false})", closer)
        page.click("#card .close")
        page.locator("#map").evaluate("map => map.scrollIntoView()")
    assert not {INK, GREY} & set(across(page, "J0018", "J0019"))
    evening(page, 1)  # J0015 to J0028
    keep(page, f"days-sleeve-{'phone' if device is PHONE else 'desk'}-{closer}")
    seen = across(page, "J0018", "J0019")
    edge = [i for i, colour in enumerate(seen) if colour == INK][-1]
    assert GREY in seen[:edge]
    assert INK not in seen[edge + 1 :]
    assert GREY not in seen[edge + 1 :]
    assert seen[edge + 3 :].count(NOTHING) > 3
    evening(page, 2)
    assert GREY not in across(page, "J0018", "J0019")


def test_the_sleeve_holds_the_joints_of_the_day_alone(desk):
    find(desk, "J0016")
    desk.click("#card .close")
    evening(desk, 1)
    assert GREY in across(desk, "J0016", "J0017")
    assert GREY not in across(desk, "J0013", "J0014")  # of the day before


def test_what_was_not_yet_made_cannot_be_tapped(desk):
    find(desk, "J0045")
    desk.click("#card .close")
    x, y = desk.evaluate("asbuilt.pixelOf('J0045')")
    evening(desk, 0)
    desk.mouse.click(x, y)
    assert card(desk) == ""
    desk.click("#all-days")
    x, y = desk.evaluate("asbuilt.pixelOf('J0045')")
    desk.mouse.click(x, y)
    assert "Joint J0045" in card(desk)


# ---- steps and play --------------------------------------------------------------------------------------------------


def shown(page: Page) -> Any:
    return page.evaluate("Number(document.querySelector('#day').value)"), page.get_attribute("#day", "aria-valuetext")


def test_steps_go_from_evening_to_evening_and_stop_at_the_ends(desk):
    desk.click("#evening button[aria-label='The evening before']")
    assert shown(desk) == (3, "Evening of 17 March 2026")  # from the whole record: the last evening
    for at in (2, 1, 0, 0):
        desk.click("#evening button[aria-label='The evening before']")
        assert shown(desk) == (at, f"Evening of {DAYS[at]} March 2026")
    desk.click("#evening button[aria-label='The next evening']")
    assert shown(desk) == (1, "Evening of 13 March 2026")


def test_the_slider_is_moved_by_keys(desk):
    desk.focus("#day")
    desk.keyboard.press("ArrowLeft")
    assert shown(desk) == (2, "Evening of 16 March 2026")
    desk.keyboard.press("Home")
    assert shown(desk) == (0, "Evening of 12 March 2026")


def test_playing_shows_evening_after_evening_and_ends_with_the_last(opener, path):
    page = opener(path, DESK, script="const own = setInterval; window.setInterval = (what, ms) => own(what, ms / 6);")
    page.evaluate(
        """() => { window.played = [];
          new MutationObserver(() => window.played.push(document.querySelector("#day-says").textContent))
            .observe(document.querySelector("#day-says"), {childList: true}); }"""
    )
    page.click("#play")
    assert page.inner_text("#play") == "Stop"
    until(page, "() => document.querySelector('#play').textContent === 'Play'", seconds=5)
    told = [re.match(r"Evening of (\d+) March 2026", text) for text in page.evaluate("played")]
    assert [int(day[1]) for day in told if day] == list(DAYS[:4])
    assert shown(page) == (3, "Evening of 17 March 2026")
    page.click("#play")  # from the end it begins anew, and a step stops it
    assert shown(page)[0] == 0
    page.click("#evening button[aria-label='The next evening']")
    at = shown(page)[0]
    assert page.inner_text("#play") == "Play"
    page.wait_for_timeout(400)
    assert shown(page)[0] == at


def of_one_day() -> AsBuilt:
    record = invented()
    joints = record.tables["joints"].assign(fused_local="2026-03-12T14:32:00+11:00")
    return dataclasses.replace(record, tables={**record.tables, "joints": joints})


def test_a_record_of_one_day_has_no_control(opener):
    assert not opener(of_one_day(), DESK).is_visible("#evening")


# ---- an evening that the address asks for ----------------------------------------------------------------------------


def ask(page: Page, day: str) -> None:
    """Write an evening into the address, as a link does."""
    page.evaluate("day => { location.hash = ''; location.hash = '#evening=' + day; }", day)
    until(page, "day => location.hash === '#evening=' + day", day)
    page.wait_for_timeout(50)  # the browser tells of a new address a moment later


def test_a_day_without_a_joint_is_shown_as_that_day(desk):
    evening(desk, 1)
    before = desk.evaluate("[asbuilt.counts(), asbuilt.drawn()]")
    head = words(desk, "#at-once").split(": ", 1)[1]
    desk.click("#all-days")
    ask(desk, "2026-03-15")
    assert desk.evaluate("[asbuilt.counts(), asbuilt.drawn()]") == before
    assert words(desk, "#at-once") == f"By the evening of 15 March 2026 (no joint was made on this day): {head}"
    assert words(desk, "#day-says") == (
        "Evening of 15 March 2026: no joint was made on this day; the last before it was made on 13 March 2026;"
        f" {len(TIMELESS)} joints without a time stand in the whole record only."
    )
    assert shown(desk) == (1, "Evening of 15 March 2026, no joint was made on this day")
    keep(desk, "days-without-a-joint")


@pytest.mark.parametrize(("step", "day"), [("The evening before", 13), ("The next evening", 16)])
def test_from_a_day_without_a_joint_a_step_leads_to_the_next_that_has_some(desk, step, day):
    ask(desk, "2026-03-14")
    desk.click(f"#evening button[aria-label='{step}']")
    assert shown(desk)[1] == f"Evening of {day} March 2026"


@pytest.mark.parametrize(
    ("day", "said", "made", "at"),
    [("2026-03-01", "its first is of 12 March 2026", 0, 0), ("2026-04-01", "its last is of 17 March 2026", None, 3)],
)
def test_beyond_the_days_of_the_record_it_says_where_it_begins_or_ends(record, desk, day, said, made, at):
    ask(desk, day)
    assert f": the record holds no joint of this day; {said}; " in words(desk, "#day-says")
    assert desk.evaluate("asbuilt.counts().joints") == (days_of(record).notna().sum() if made is None else made)
    assert shown(desk)[0] == at
    name = "The evening before" if at == 0 else "The next evening"
    before = words(desk, "#day-says")
    desk.click(f"#evening button[aria-label='{name}']")
    assert words(desk, "#day-says") == before  # there is none on that side


@pytest.mark.parametrize("day", ["2026-02-31", "yesterday", ""])
def test_an_address_that_names_no_day_is_told_and_shows_the_whole_record(desk, day):
    whole = desk.inner_html("#at-once")
    evening(desk, 1)
    ask(desk, day)
    assert desk.inner_html("#at-once") == whole
    assert words(desk, "#day-says").startswith("All 4 days, ")
    assert words(desk, "#day-says").endswith(". The address asks for an evening, but names no day such as 2026-03-12.")


@pytest.mark.parametrize("day", ["2026-03-12", "2026-03-11"])
def test_a_page_opens_on_the_evening_of_its_address_even_with_one_day(opener, day):
    page = opener(of_one_day(), PHONE)
    page.goto(f"{page.url}#evening={day}")
    page.reload()
    until(page, "() => window.asbuilt !== undefined")
    assert page.is_visible("#evening")
    assert words(page, "#day-says").startswith(f"Evening of {day[-2:]} March 2026:")
    assert (page.evaluate("asbuilt.counts().joints") == 0) == (day == "2026-03-11")


def test_the_list_says_that_it_is_of_the_whole_record(desk):
    whole = desk.inner_text("#list-title")
    evening(desk, 0)
    assert desk.inner_text("#list-title") == whole
    assert "the whole record" in desk.inner_text("#list-says")
    desk.click("#all-days")
    assert "the whole record" not in desk.inner_text("#list-says")
