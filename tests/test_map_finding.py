"""Finding a joint, a place or a set of joints, and walking the list of what is outstanding. All data is invented."""

import dataclasses
import re

import pandas as pd
import pyproj
import pytest
import shapely
from playwright.sync_api import Page

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, PHONE, card, chosen, colour_at, find, keep
from tests.map_record import CRS, NASTY, invented, made
from tests.written_ids import JOINTS, WRITTEN

BAD = [look.OUT_OF_WINDOW, look.NOT_RECORDED]


def told() -> AsBuilt:
    """The invented record; with a number on the paper that is another joint's id, and with two decisions."""
    record = invented()
    joints = record.tables["joints"].copy()
    joints.loc[[9, 10], "joint"] = ["T-17/b", "J0012"]
    joints.loc[16, ["fusion_verdict", "decision", "closed"]] = [look.OUT_OF_WINDOW, "accepted by N. N.", True]
    joints.loc[17, ["fusion_verdict", "decision"]] = [look.OUT_OF_WINDOW, "accepted by N. N., stale"]
    counts = dataclasses.replace(record.counts, outstanding=0)  # the page counts for itself
    return dataclasses.replace(
        record, tables={**record.tables, "joints": tables.conform(joints, tables.JOINTS)}, counts=counts
    )


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
    """The page with nothing chosen, nothing picked, nothing typed."""
    shared.fill("#find", "")
    shared.press("#find", "Escape")
    if shared.locator("#list-table select").count():
        shared.select_option("#list-table select", "")
    for leave in ("#card .close", "#list button:has-text('Back to what')"):
        if shared.locator(leave).is_visible():
            shared.click(leave)
    return shared


def offers(page: Page, text: str) -> list[str]:
    """What the search offers for a text."""
    page.fill("#find", text)
    return page.locator("#found button").all_inner_texts()


def line_of(record: AsBuilt) -> pd.DataFrame:
    return record.tables["joints"].loc[lambda t: t["in_line"].astype(bool)]


# ---- by id -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["J0012", "j0012", "  J0012 "])
def test_a_whole_id_comes_before_a_number_on_the_paper_that_is_like_it(desk, text):
    found = offers(desk, text)
    assert [f.split(" at ")[0] for f in found] == ["Joint J0012", "Joint J0011"]
    desk.press("#find", "Enter")
    assert "Joint J0012" in card(desk)


def test_a_part_of_an_id_finds_all_that_hold_it_and_counts_the_rest(record, desk):
    found = offers(desk, "004")  # a station, 4 m, too
    keep(desk, "finding-part-of-an-id")
    ids = [i for i in record.tables["joints"]["joint_id"] if "004" in i]
    assert [re.match(r"Joint (J\d+)", f)[1] for f in found] == ids[:8]
    assert f"and {len(ids) - 8 + 1} more: type on" in desk.inner_text("#found")


def test_the_number_on_the_paper_finds_its_joint(desk):
    assert [f.split(" at ")[0] for f in offers(desk, "t-17")] == ["Joint J0010"]


@pytest.fixture(scope="module")
def written(record, opener) -> Page:
    """The map of a few joints with ids of many kinds."""
    joints = record.tables["joints"].iloc[: len(JOINTS)].copy()
    joints["joint_id"], joints["joint"] = zip(*JOINTS, strict=True)
    nothing = {t.name: tables.empty(t) for t in tables.ALL if t.name in {"positions", "window_checks", "gaps"}}
    done = {**record.tables, **nothing, "joints": tables.conform(joints, tables.JOINTS)}
    return opener(dataclasses.replace(record, tables=done), DESK)


@pytest.mark.parametrize(("text", "ids"), [row[:2] for row in WRITTEN])
def test_the_map_finds_the_same_joints_by_an_id_as_the_command(written, text, ids):
    """Whatever else it offers while somebody types comes behind."""
    found = [re.match(r"Joint (.+?) at ", offer)[1] for offer in offers(written, text) if offer.startswith("Joint ")]
    assert tuple(found[: len(ids)]) == ids
    assert ids or not found


def test_an_offer_says_where_the_joint_lies(record, desk):
    joint = record.tables["joints"].iloc[24]
    assert offers(desk, "J0025") == [f"Joint J0025 at {joint['station']}"]
    assert offers(desk, "J0055") == ["Joint J0055, without a place"]


def test_enter_takes_the_first_and_a_click_any(desk):
    second = offers(desk, "J004")[1]
    desk.click("#found button >> nth=1")
    assert second.startswith(f"Joint {record_id(desk)} ")
    assert desk.input_value("#find") == ""
    assert desk.locator("#found button").count() == 0


def record_id(page: Page) -> str:
    return re.search(r"Joint (\S+?)(Not|Fusion)", card(page))[1]


def test_escape_empties_the_search_and_nothing_that_fits_is_said_as_it_was_typed(desk):
    assert offers(desk, NASTY[3]) != [] or "Nothing fits" in desk.inner_text("#found")
    assert offers(desk, "<i>zzz") == []
    assert "Nothing fits “<i>zzz”" in desk.inner_text("#found")
    assert desk.locator("#found i").count() == 0
    desk.press("#find", "Escape")
    assert (desk.input_value("#find"), desk.inner_text("#found")) == ("", "")
    desk.press("#find", "Enter")
    assert chosen(desk) is None


# ---- by station, by position -----------------------------------------------------------------------------------------


def test_a_plus_sign_asks_for_a_station_first_and_a_bare_number_for_a_joint(desk):
    assert offers(desk, "0+025") == ["Station 0+025.00"]
    found = offers(desk, "25")
    assert found[0].startswith("Joint J0025")
    assert found[-1] == "Station 0+025.00"


@pytest.mark.parametrize("text", ["0+732.01", "9+000", "-5", "0+1000"])
def test_a_station_beyond_the_line_is_not_found(desk, text):
    assert [f for f in offers(desk, text) if f.startswith("Station")] == []


def aside(record: AsBuilt, chainage: float, off: float) -> tuple[float, float]:
    """Latitude and longitude of a place beside the line, by shapely and pyproj."""
    line = record.tables["alignment"]["geometry"].iloc[0]
    a, b = line.interpolate(chainage - 0.5), line.interpolate(chainage + 0.5)
    at = line.interpolate(chainage)
    x, y = at.x + off * (b.y - a.y), at.y - off * (b.x - a.x)
    to = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    longitude, latitude = to.transform(x, y)
    return latitude, longitude


@pytest.mark.parametrize(
    "write", ["{0:.7f}, {1:.7f}", "{0:.7f} {1:.7f}", "geo:{0:.7f},{1:.7f}", "{2:.7f} S, {1:.7f} E"]
)
@pytest.mark.parametrize(("chainage", "off"), [(100.0, 7.5), (333.0, -4.0), (600.0, 0.5)])
def test_a_position_leads_to_the_nearest_place_on_the_line(record, desk, write, chainage, off):
    latitude, longitude = aside(record, chainage, off)
    text = write.format(latitude, longitude, -latitude)
    back = pyproj.Transformer.from_crs(CRS.geodetic_crs, CRS, always_xy=True)
    line, point = record.tables["alignment"]["geometry"].iloc[0], shapely.Point(back.transform(longitude, latitude))
    wanted, away = line.project(point), line.distance(point)
    (offer,) = offers(desk, text)
    station = re.fullmatch(r"Nearest on the line: station 0\+(\d{3}\.\d\d)", offer)
    assert float(station[1]) == pytest.approx(wanted, abs=0.02)
    desk.press("#find", "Enter")
    keep(desk, "finding-position")
    said = re.search(rf"Nearest place on the line to {re.escape(text)}, (\d+\.\d) m from it", card(desk))
    assert float(said[1]) == pytest.approx(away, abs=0.06)
    assert chosen(desk)["chainage"] == pytest.approx(wanted, abs=0.02)


def test_a_position_far_away_says_how_far(desk):
    find(desk, "-42.0, 147.0")
    away = float(re.search(r", ([\d.]+) m from it", card(desk))[1])
    assert 80_000 < away < 95_000
    assert "Nearest place on the line" in card(desk)


# ---- sets ------------------------------------------------------------------------------------------------------------


def listed(page: Page) -> list[str]:
    return page.locator("#list-rows tr td:nth-child(2)").all_inner_texts()


@pytest.mark.parametrize(
    ("text", "column", "value", "title"),
    [
        ("Operator 3", "operator", "Operator 3", "Operator Operator 3"),
        ("m2", "machine", "M2", "Machine M2"),
        ("crew_b", "crew", "crew_b", "Crew crew_b"),
        ("Crew B", "crew", "crew_b", "Crew crew_b"),
        ("2026-03-13", "day", "2026-03-13", "Made on 13 March 2026"),
        ("13 March 2026", "day", "2026-03-13", "Made on 13 March 2026"),
        ("16 mar 2026", "day", "2026-03-16", "Made on 16 March 2026"),
        ("out of window", "fusion_verdict", look.OUT_OF_WINDOW, "Fusion out of window"),
        ("right to left", "operator", NASTY[4], f"Operator {NASTY[4]}"),
    ],
)
def test_people_machines_days_and_verdicts_pick_out_their_joints(record, desk, text, column, value, title):
    line = line_of(record).assign(
        day=lambda t: t["fused_local"].str[:10], crew=lambda t: t["source_file"].str.extract(r"(crew_\w)", expand=False)
    )
    wanted = line[line[column] == value].sort_values("chainage_m", na_position="last")
    assert offers(desk, text)[0].startswith(f"{len(wanted)} joint")
    desk.press("#find", "Enter")
    keep(desk, f"finding-{column}")
    assert (
        desk.locator("#list-title").evaluate("t => t.textContent")
        == f"{title}: {len(wanted)} joint{'s' * (len(wanted) > 1)}"
    )
    assert listed(desk) == [f"Joint {i}" for i in wanted["joint_id"]]
    assert desk.evaluate("asbuilt.chosen()") is None


def test_boxes_hold_together(record, desk):
    line = line_of(record)
    desk.evaluate("document.querySelector('#narrow').open = true")
    for way, label in (("Machine", "M1"), ("Position", "cannot tell")):
        box = desk.locator(f"#narrow label:has-text('{way}') select")
        option = box.locator("option").filter(has_text=label)
        column = {"Machine": "machine", "Position": "position_verdict"}[way]
        assert option.inner_text() == f"{label} ({(line[column] == label).sum()})"
        box.select_option(option.get_attribute("value"))
    keep(desk, "finding-boxes")
    both = line[(line["machine"] == "M1") & (line["position_verdict"] == "cannot tell")]
    assert listed(desk) == [f"Joint {i}" for i in both["joint_id"]]
    assert len(both) > 3
    desk.click("#list button:has-text('Back to what')")
    assert desk.locator("#narrow select").evaluate_all("boxes => boxes.map(b => b.value)") == [""] * 6
    desk.evaluate("document.querySelector('#narrow').open = false")


def test_what_is_not_picked_is_faded_on_the_map(record, desk):
    line = line_of(record)
    inside, outside = "J0008", "J0009"  # M2 and M1, both in window
    find(desk, "m2")
    assert set(line.loc[line["joint_id"].isin([inside, outside]), "fusion_verdict"]) == {look.IN_WINDOW}
    find(desk, inside)
    desk.click("#card .close")
    fill = look.FUSION[look.IN_WINDOW].fill
    assert colour_at(desk, inside) == fill
    assert colour_at(desk, outside) != fill
    desk.click("#list button:has-text('Back to what')")
    assert colour_at(desk, outside) == fill


# ---- what is outstanding ---------------------------------------------------------------------------------------------


def outstanding(record: AsBuilt) -> list[str]:
    """What stands out by the tables alone, by chainage, with its cause."""
    joints, gaps = line_of(record), record.tables["gaps"]
    bad = joints["fusion_verdict"].isin(BAD) | joints["position_verdict"].isin(BAD) | joints["geometry"].isna()
    told = [
        (c, 0, f"Joint {i}")
        for i, c in joints.loc[bad & ~joints["closed"].fillna(False).astype(bool), ["joint_id", "chainage_m"]].values
    ]
    told += [(c, 1, f"Gap {i}") for i, c in gaps[["gap_id", "from_chainage_m"]].values]
    told = [(float("inf") if pd.isna(c) else c, k, name) for c, k, name in told]
    return [name for *_, name in sorted(told)]


def test_all_that_is_outstanding_is_listed_by_chainage(record, desk):
    wanted = outstanding(record)
    assert listed(desk) == [*wanted, "Source row records/crew_a.csv, row 41"]
    assert desk.inner_text("#list-title") == f"Outstanding: {len(wanted) + 1}"
    assert "Joint J0017" not in wanted  # it was decided
    assert "Joint J0018" in wanted  # its decision is stale


def test_the_list_is_narrowed_to_one_cause_with_its_count(record, desk):
    line = line_of(record)
    line = line[line["joint_id"] != "J0017"]
    for kind, verdict in (("fusion", look.OUT_OF_WINDOW), ("position", look.NOT_RECORDED)):
        why, column = f"{kind} {verdict}", f"{kind}_verdict"
        desk.select_option("#list-table select", why)
        wanted = line[line[column] == verdict]
        assert listed(desk) == [f"Joint {i}" for i in wanted["joint_id"]]
        assert desk.inner_text("#listed") == f"Listed {len(wanted)} of {len(wanted)}, by station."
    texts = desk.locator("#list-table option").all_inner_texts()
    assert f"fusion out of window ({(line['fusion_verdict'] == BAD[0]).sum()})" in texts
    desk.select_option("#list-table select", "")
    assert len(listed(desk)) == len(outstanding(record)) + 1


def test_arrow_keys_walk_the_list_and_the_map_follows(record, desk):
    names = outstanding(record)
    desk.locator("#list-rows button").first.focus()
    for key, at in (("Down", 1), ("Down", 2), ("Down", 3), ("Down", 4), ("Down", 5), ("Down", 6), ("Up", 5), ("Up", 4)):
        desk.keyboard.press(f"Arrow{key}")
        assert desk_at(desk) == at
        kind, name = names[at].split(" ", 1)
        row = desk.locator("#list-rows tr[aria-current=true]")
        assert row.count() == 1
        assert names[at] in row.inner_text()
        assert chosen(desk)["kind"] == kind.lower()
        if kind == "Joint":
            assert in_sight(desk, name)
    keep(desk, "finding-walk")
    for _ in range(8):
        desk.keyboard.press("ArrowUp")
    assert desk_at(desk) == 0  # it stops at the end


def desk_at(page: Page) -> int:
    """Which button of the list has the keyboard."""
    return int(
        page.evaluate("Array.from(document.querySelectorAll('#list-rows button')).indexOf(document.activeElement)")
    )


def in_sight(page: Page, joint_id: str) -> bool:
    x, y = page.evaluate("id => asbuilt.pixelOf(id)", joint_id)
    chart = page.locator("#map").bounding_box()
    return chart["x"] < x < chart["x"] + chart["width"] and chart["y"] < y < chart["y"] + chart["height"]


def test_enter_opens_the_card_of_what_the_keyboard_is_on(record, desk):
    names = outstanding(record)
    desk.locator("#list-rows button").first.focus()
    desk.keyboard.press("ArrowDown")
    desk.keyboard.press("Enter")
    assert names[1] in card(desk)
    assert desk.evaluate("document.activeElement.textContent") == names[1]  # the heading of the card


def test_a_row_without_a_place_on_the_map_is_no_button(desk):
    last = desk.locator("#list-rows tr").last
    assert last.locator("button").count() == 0
    assert last.inner_text().startswith("no place")
    assert "row set aside: no joint number <b>at all</b>" in last.inner_text()


def test_a_long_list_is_shown_a_hundred_at_a_time_and_the_keys_go_on(record, opener):
    joints = pd.concat([record.tables["joints"].iloc[:54]] * 3, ignore_index=True)
    joints["joint_id"] = [f"L{i:03d}" for i in range(len(joints))]
    joints["chainage_m"] += [i // 54 * 0.25 for i in range(len(joints))]
    joints["fusion_verdict"], joints["decision"] = look.OUT_OF_WINDOW, ""
    nothing = {
        name: tables.empty(t) for name, t in ((t.name, t) for t in tables.ALL) if name in {"positions", "window_checks"}
    }
    done = {**record.tables, **nothing, "joints": tables.conform(joints, tables.JOINTS)}
    page = opener(dataclasses.replace(record, tables=done), PHONE)
    assert page.inner_text("#listed") == "Listed 100 of 162, by station."
    assert page.inner_text("#list-more") == "Show the next 62"
    page.locator("#list-rows button").nth(99).focus()
    page.keyboard.press("ArrowDown")
    assert desk_at(page) == 100
    assert page.inner_text("#listed") == "Listed 162 of 162, by station."
    assert not page.is_visible("#list-more")
    stations = page.locator("#list-rows td:first-child").all_inner_texts()
    assert stations[:-1] == sorted(stations[:-1])


def test_a_day_on_which_nothing_was_made_is_told_from_a_text_that_is_no_day(desk):
    desk.fill("#find", "14 March 2026")
    assert desk.inner_text("#found") == "No joint of the line was made on 14 March 2026."
    desk.fill("#find", "14/03/2026")
    assert "A day is written 2026-03-12 or 12 March 2026." in desk.inner_text("#found")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("9+000", "No line has that station: main has 0+000.00 to 0+732.00. Write a station of these."),
        ("station 9+000", "No line has that station: main has 0+000.00 to 0+732.00. Write a station of these."),
        ("900 m", "No line is that long. Write a shorter chainage."),
        ("512000 5260000", "no latitude and longitude in degrees. Write -42.85229, 149.22748, or 42.85229 S"),
        ("-42,85229 149,22748", "no latitude and longitude in degrees. Write -42.85229, 149.22748, or 42.85229 S"),
        ("42.85 S 149.22 N", "latitude first"),
        (
            "zzz",
            "Nothing fits “zzz”. Write a joint's id or a part of it, a station, a latitude and longitude, a finding,",
        ),
    ],
)
def test_what_is_not_found_says_what_to_write(desk, text, says):
    assert offers(desk, text) == []
    assert says in desk.inner_text("#found")


@pytest.mark.parametrize(
    ("text", "station"), [("station 0+025", "0+025.00"), ("Sta. 0+025", "0+025.00"), ("25 m", "0+025.00")]
)
def test_a_station_as_the_command_takes_it(desk, text, station):
    assert offers(desk, text) == [f"Station {station}"]


# ---- findings --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def with_findings(record, opener) -> Page:
    """One finding that is open, of two joints and of one without a place; and one that a decision closes."""
    told = {
        "finding_id": ["clock-1", "trace-2"],
        "kind": ["clock", "trace"],
        "joints_n": [3, 1],
        "statement": ["Invented: two odd times.", "Invented: <b>one</b> odd curve."],
        "proposal": ['clock = "+1 h"', ""],
        "joints": ["J0030, J0033, J0055", "J0030"],
        "decision": ["", "accept as is; N. N."],
        "closed": [False, True],
    }
    findings = made(tables.FINDINGS, 2, **told)
    return opener(dataclasses.replace(record, tables={**record.tables, "findings": findings}), DESK)


def test_a_finding_stands_at_its_first_joint_and_leads_to_its_card(record, with_findings):
    page = with_findings
    row = page.locator("#list-rows tr", has_text="Invented: two odd times.")
    at = record.tables["joints"].set_index("joint_id").loc["J0030"]
    assert row.inner_text().split("\t")[0].strip().split("\n")[0] == at["station"]
    row.locator("button").click()
    assert (chosen(page)["kind"], chosen(page)["row"]) == ("finding", 0)
    assert page.locator("#list-rows tr", has_text="odd curve").count() == 0  # it is closed
    for part in ("Finding clock-1", "Open, 3 joints", "Invented: two odd times.", 'clock = "+1 h"', "Decisionnone"):
        assert part in card(page)
    assert all(in_sight(page, name) for name in ("J0030", "J0033"))


def test_the_card_of_a_joint_names_its_findings_and_the_way_leads_there_and_back(with_findings):
    page = with_findings
    find(page, "J0030")
    told = page.locator("#card .concerns li").all_inner_texts()
    assert [" ".join(text.split()) for text in told] == [
        "Finding clock-1 open: Invented: two odd times.",
        "Finding trace-2 closed by a decision: Invented: <b>one</b> odd curve.",
    ]
    page.click("#card button:has-text('Finding clock-1')")
    assert chosen(page)["kind"] == "finding"
    page.click("#card button:has-text('Joint J0033')")
    assert (chosen(page)["kind"], chosen(page)["row"]) == ("joint", 32)
    assert page.locator("#card .concerns button").all_inner_texts() == ["Finding clock-1"]
    find(page, "J0031")
    assert page.locator("#card .concerns").count() == 0


def test_a_finding_is_found_by_its_id_and_picks_out_its_joints(with_findings):
    page = with_findings
    assert offers(page, "trace-2") == ["Finding trace-2, 1 joint"]
    find(page, "clock-1")
    page.click("#card button:has-text('Pick out its joints')")
    assert sorted(listed(page)) == ["Joint J0030", "Joint J0033", "Joint J0055"]
    page.click("#list button:has-text('Back to what')")
    find(page, "J0055")
    assert "Finding clock-1" in card(page)  # a joint without a place has it, too
