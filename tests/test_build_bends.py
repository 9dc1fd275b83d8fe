"""Bends of the design and of the laid pipe, and how much chainage a pipe makes, through whole builds."""

import numpy as np
import pytest

from asbuilt import build, settings
from tests.making import E0, N0, csv_of, designs_of, make_route

# 630 mm, wall 57.2 mm: DR 11, least radius 25 x 0.63 m = 15.75 m (second-hand: see handbook/bend_radius.toml)


def bent(radius, *, every=6.0):
    """60 m straight, a quarter of a circle, 60 m straight: the line in chords of 1 m, and joints on it."""
    turn = radius * np.pi / 2

    def point(s):
        if s <= 60:
            return s, 0.0
        if s <= 60 + turn:
            angle = (s - 60) / radius
            return 60 + radius * np.sin(angle), radius * (1 - np.cos(angle))
        return 60 + radius, radius + s - 60 - turn

    length = 120 + turn
    xy = np.array([point(s) for s in np.arange(0, length, 1.0)]) + np.array([E0, N0])
    joints = np.array([point(s) for s in np.arange(every, length, every)]) + np.array([E0, N0])
    line = "easting,northing\n" + "\n".join(f"{x:.4f},{y:.4f}" for x, y in xy) + "\n"
    rows = [f"J{i:02d},2026-03-{1 + i // 9:02d} {8 + i % 9}:00,{x:.3f},{y:.3f},225" for i, (x, y) in enumerate(joints)]
    return line, csv_of(*rows)


def built(folder, radius):
    line, records = bent(radius)
    changes = {"pipe.stick": "6 m", "records.default_accuracy": "0.05 m"}
    return build.build(settings.load(make_route(folder, records=records, line=line, toml_changes=changes)))


def test_a_bend_tighter_than_the_pipe_may_take_is_a_finding_of_line_and_pipe(tmp_path):
    found = built(tmp_path, 10.0)
    kinds = found.tables["findings"].set_index("kind")
    assert set(kinds.index) == {"bend", "bend of the design"}
    assert "15.75 m" in kinds.loc["bend", "statement"] or "15.8 m" in kinds.loc["bend", "statement"]
    assert kinds.loc["bend", "joints_n"] >= 2
    assert found.counts.outstanding >= 2


def test_a_bend_that_the_pipe_may_take_is_none(tmp_path):
    assert built(tmp_path, 30.0).tables["findings"].empty


@pytest.mark.parametrize(
    ("changes", "levels", "factor"),
    [
        ({}, "", 0.9996),  # on the central meridian of a transverse Mercator zone, scale 0.9996 by definition
        ({"alignment.length": "ground", "alignment.ground_factor": 1.0004}, "", 1.0),
        ({"alignment.length": "geodesic"}, "", 1.0),
        ({"alignment.length": "geodesic"}, "slope", np.cos(np.arctan(0.1))),
        ({"alignment.length": "slope"}, "slope", 1.0),
    ],
)
def test_how_much_chainage_a_metre_of_pipe_makes(tmp_path, changes, levels, factor):
    """Up a grade of one in ten a pipe covers the cosine of it on the level."""
    z = (",elevation (m)", ",10.0", ",110.0") if levels else ("", "", "")
    line = f"easting,northing{z[0]}\n500000,5250000{z[1]}\n501000,5250000{z[2]}\n"
    designs = designs_of(make_route(tmp_path, line=line, toml_changes=changes))
    assert designs.pipe_factor == pytest.approx(factor, abs=2e-5)
