"""ASTM F2620 as public pages restate it; its own tables were not read, and what is from memory is marked so."""

import numpy as np
import pytest

from asbuilt.quantities import convert
from tests.test_procedures import OPEN, limits_of, loaded, sides, status, window_of

NAME = "ASTM F2620"
PAGE = "plasticpipe.org, Municipal Advisory Board, melt procedure (refers to a field manual of 2010)"
TRADE = "two trade pages that agree and name no edition"
MEMORY = "ASTM F2620, not seen in writing"


@pytest.mark.seen(f"{PAGE}: 400 to 450 °F, printed as 204 to 232 °C")
def test_the_heater():
    assert sides(NAME, "heater_temperature") == pytest.approx((204.4, 232.2), abs=0.1)
    assert status(NAME, "heater_temperature") == "read"


@pytest.mark.second_hand("a trade forum about ASTM: 60 to 90 psi at the melt face")
def test_the_interfacial_pressure():
    assert sides(NAME, "fusion_pressure", shown="psi") == pytest.approx((60, 90))
    assert sides(NAME, "bead_pressure") == pytest.approx((0.4137, 0.6205), abs=5e-4)
    assert sides(NAME, "fusion_pressure", shown="bar") == pytest.approx((4.14, 6.21), abs=0.005)


@pytest.mark.seen(f"{PAGE}: full contact, then released to no force without breaking contact")
def test_the_soak_is_without_force():
    assert sides(NAME, "soak_pressure", drag_pressure=0.4) == pytest.approx((OPEN, 0.4), nan_ok=True)
    assert window_of(NAME, "soak_pressure").pressure == "gauge"


@pytest.mark.second_hand(f"{TRADE}: heater out, field")
@pytest.mark.parametrize(
    ("wall", "seconds"),
    [(0.20, 8), (0.36, 8), (0.361, 10), (0.55, 10), (0.56, 15), (0.784, 15), (1.18, 15), (1.19, 20), (2.5, 20),
     (2.571, 25), (4.5, 25)],
)  # fmt: skip
def test_the_removal_time_goes_by_steps_of_the_wall_in_inches(wall, seconds):
    assert sides(NAME, "removal_time", unit="in", wall=wall) == pytest.approx((OPEN, seconds), nan_ok=True)
    assert status(NAME, "removal_time", unit="in", wall=wall) == "second-hand"


@pytest.mark.computed("54 in IPS, DR 21: 2.571 in of wall, and 25 s by the table of the trade pages")
def test_the_removal_time_of_a_large_pipe():
    assert sides(NAME, "removal_time", unit="in", wall=54 / 21)[1] == 25


@pytest.mark.second_hand(f"{TRADE}: their table begins at 0.20 in")
def test_a_thinner_wall_than_the_table_has_no_limit():
    found = limits_of(window_of(NAME, "removal_time"), unit="in", wall=0.19)
    assert found.why_not.tolist() == ["the procedure has no limit for this wall"]


@pytest.mark.from_memory(f"{MEMORY}: 30 s in the field, 40, 50 and 60 s in a shop")
def test_the_longest_removal_times_as_remembered():
    assert sides(NAME, "removal_time", unit="in", wall=5)[1] == 30
    assert status(NAME, "removal_time", unit="in", wall=5) == "from memory"
    shop = next(w for w in loaded(NAME).alternative if w.check == "removal_time")
    assert [limits_of(shop, unit="in", wall=w).high[0] for w in (2, 3, 5)] == [40, 50, 60]


@pytest.mark.from_memory(f"{MEMORY}: 11 min for each inch of wall")
@pytest.mark.parametrize(("wall", "minutes"), [(0.784, 8.62), (1.4118, 15.53), (36.3 / 25.4, 15.72)])
def test_the_cooling_as_remembered(wall, minutes):
    assert sides(NAME, "cooling_time", unit="in", wall=wall)[0] == pytest.approx(minutes, abs=0.01)
    assert status(NAME, "cooling_time", unit="in", wall=wall) == "from memory"


@pytest.mark.from_memory(f"{MEMORY}: 4.5 min for each inch of wall (10.63 s/mm), for pipe of 14 in and more")
def test_the_soak_as_remembered_is_for_large_pipe_only():
    assert sides(NAME, "soak_time", wall=10, outside_diameter=14 * 25.4)[0] == pytest.approx(106.3, abs=0.05)
    small = limits_of(window_of(NAME, "soak_time"), wall=10, outside_diameter=13.9 * 25.4)
    assert small.none.tolist() == [True]


@pytest.mark.from_memory(f"{MEMORY}: least bead by outside diameter")
@pytest.mark.parametrize(
    ("diameter", "inches"),
    [(1.9, 1 / 32), (2.375, 1 / 16), (3.5, 1 / 16), (4.5, 3 / 16), (8.625, 3 / 16), (10.75, 1 / 4), (12.75, 1 / 4),
     (24, 3 / 8), (36, 7 / 16), (54, 9 / 16), (65, 9 / 16)],
)  # fmt: skip
def test_the_bead_as_remembered(diameter, inches):
    found = sides(NAME, "initial_bead", unit="in", outside_diameter=diameter, shown="in")
    assert found == pytest.approx((inches, OPEN), nan_ok=True)
    assert status(NAME, "initial_bead", unit="in", outside_diameter=diameter) == "from memory"


def printed_bead(table: str, **size: float) -> list[float]:
    found = limits_of(next(w for w in loaded(NAME).alternative if w.name.startswith(table)), unit="in", **size)
    return convert(np.concatenate([found.low, found.high]), "mm", "in").tolist()


@pytest.mark.second_hand(
    "a trade handbook (unnamed): suggested bead by pipe size; the IPS diameters are a trade chart's"
)
@pytest.mark.parametrize(
    ("diameter", "low", "high"),
    [(1.315, 1 / 32, 1 / 16), (2.375, 1 / 16, 1 / 16), (6.625, 1 / 8, 3 / 16), (10.75, 3 / 16, 1 / 4),
     (16, 1 / 4, 7 / 16), (30, 7 / 16, 7 / 16), (54, 9 / 16, 9 / 16)],
)  # fmt: skip
def test_the_bead_by_pipe_size(diameter, low, high):
    assert printed_bead("by pipe size", outside_diameter=diameter) == pytest.approx([low, high])


@pytest.mark.second_hand("a distributor's page: bead by wall")
@pytest.mark.parametrize(
    ("wall", "low", "high"),
    [(0.15, 1 / 32, 1 / 16), (0.2, 1 / 16, 1 / 16), (0.5, 1 / 8, 3 / 16), (1, 3 / 16, 1 / 4), (1.5, 1 / 4, 5 / 16)],
)
def test_the_bead_by_wall(wall, low, high):
    assert printed_bead("by wall", wall=wall) == pytest.approx([low, high])


@pytest.mark.from_memory("the same page, where what was seen of it is cut off")
@pytest.mark.parametrize(("wall", "low", "high"), [(2, 5 / 16, 7 / 16), (3, 7 / 16, 9 / 16)])
def test_the_bead_of_thick_walls_by_wall(wall, low, high):
    assert printed_bead("by wall", wall=wall) == pytest.approx([low, high])
    by_wall = next(w for w in loaded(NAME).alternative if w.name == "by wall")
    assert limits_of(by_wall, unit="in", wall=wall).status.tolist() == ["from memory"]


@pytest.mark.second_hand("the two tables above for 8 in IPS, DR 11: 1/8 to 3/16 in by size, 3/16 to 1/4 in by wall")
def test_three_tables_of_the_bead_disagree_and_only_one_is_applied():
    size, wall = 8.625, 8.625 / 11
    assert printed_bead("by pipe size", outside_diameter=size) == pytest.approx([1 / 8, 3 / 16])
    assert printed_bead("by wall", wall=wall) == pytest.approx([3 / 16, 1 / 4])
    applied = [w for w in loaded(NAME).window if w.check == "initial_bead"]
    assert [w.needs for w in applied] == [("outside_diameter",)]


@pytest.mark.second_hand("a trade handbook (unnamed), clauses 6.2.6 and 6.2.7, and a trade page: told, not judged")
def test_what_a_record_has_no_field_for_is_told():
    said = {f.quantity: f.says for f in loaded(NAME).further}
    assert sides(NAME, "cooling_out_time")[0] == 30
    assert "2 to 2.5 times as wide" in said["finished bead"]
    assert "490 to 510 °F" in said["socket and saddle heater"]
    assert "no water" in said["faster cooling"]
