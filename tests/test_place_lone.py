"""A fix that jumps away from its neighbours and back: a joint made elsewhere, or a blunder."""

import numpy as np
import pytest

from tests.place_rows import STICK, beside, placed, records, straight

LINE = straight(3000.0)


def error(found, at):
    return np.abs(found.joints["chainage_m"].to_numpy() - at)


def test_a_joint_made_elsewhere_between_two_others_is_no_blunder_of_the_run():
    """One crew walks, is called away for a joint 600 m off, and goes on where it was."""
    walk = 240 + STICK * np.arange(30)
    at = np.insert(walk, 15, 1500.0)
    found = placed(records(beside(LINE, at, noise=0.5), sd_m=0.5), LINE)
    assert error(found, at).max() < 1.5
    assert found.joints["placed_by"].tolist() == ["fix+tally"] * 15 + ["fix"] + ["fix+tally"] * 15
    assert not found.joints["blunder"].any()
    assert found.joints.loc[14, "piece"] == found.joints.loc[16, "piece"] != found.joints.loc[15, "piece"]


def test_a_tie_in_elsewhere_is_no_blunder_even_where_there_would_be_room():
    walk = 240 + STICK * np.arange(30)
    at = np.where(np.arange(30) == 15, 1500.0, walk)
    kind = np.where(np.arange(30) == 15, "tie-in", "production")
    found = placed(records(beside(LINE, at, noise=0.5), sd_m=0.5, kind=kind), LINE)
    assert error(found, at).max() < 1.5
    assert not found.joints["blunder"].any()


FAR = [(0.5, f) for f in (30.0, 150.0, -100.0, 400.0, -900.0)] + [(3.0, f) for f in (30.0, 150.0, 400.0, -900.0)]
HOLES = [(0.5, f) for f in (55.0, 80.0, -80.0)] + [(3.0, f) for f in (80.0, 100.0, -100.0)]


@pytest.mark.parametrize(("noise", "far"), FAR + HOLES)
def test_a_fix_that_jumps_out_of_its_place_in_the_run_is_a_blunder(noise, far):
    at = 1200 + STICK * np.arange(30)
    there = at + far * (np.arange(30) == 15)
    found = placed(records(beside(LINE, there, noise=noise), sd_m=noise), LINE)
    assert error(found, at).max() < 1.0
    assert np.flatnonzero(found.joints["blunder"]).tolist() == [15]
    assert found.joints["placed_by"].tolist() == ["fix+tally"] * 15 + ["tally"] + ["fix+tally"] * 14
    assert found.joints.loc[15, ["offset_m", "offset_sd_m", "leg_probability"]].isna().all()
