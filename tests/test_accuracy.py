"""RMSE, the 95 % radius and its rule: against the published checkpoints, and through a build with as-laid shots."""

import numpy as np
import pandas as pd
import pytest

from asbuilt import build, settings
from asbuilt.judge.accuracy import CHECKPOINTS, PLACES, SCATTER, accuracy, errors, radius95
from tests.making import E0, N0, csv_of, make_route

# The seven checkpoints of the worked example in PE&RS, May 2014, p. 397 (ASPRS standard, 1st edition), metres; seen.
EAST = (-0.060, 0.100, -0.060, -0.112, -0.120, -0.100, -0.060)
NORTH = (0.080, -0.045, 0.080, 0.007, 0.150, -0.045, 0.080)


def seven():
    return errors(np.column_stack([EAST, NORTH]))


def test_the_published_checkpoints_give_the_published_figures():
    """Sample standard deviations 0.075 and 0.073 are printed there; means and RMSE follow from the same points."""
    found = seven()
    assert found.n == 7
    assert found.sd.round(3) == pytest.approx([0.075, 0.073])
    assert found.mean.round(4) == pytest.approx([-0.0589, 0.0439])
    assert found.rmse.round(4) == pytest.approx([0.0908, 0.0809])
    assert round(found.rmse_r, 4) == 0.1216


def test_the_published_checkpoints_get_the_radius_for_axes_that_are_not_quite_alike():
    """NSSDA: 2.4477 x the mean of both RMSE = 0.2101 m from rounded RMSE; 1.7308 x RMSE in plan would be 0.2105 m."""
    radius, rule = radius95(seven().rmse)
    assert radius == pytest.approx(2.4477 * (0.0908 + 0.0809) / 2, abs=1e-4)
    assert "2.4477" in rule
    assert "0.89" in rule


def test_axes_alike_take_the_other_factor():
    """FGDC-STD-007.3 (quoted, seen): 1.7308 x RMSE in plan; RMSE 0.050 m in plan gives 0.0865 m."""
    radius, rule = radius95(np.array([0.05, 0.05]) / np.sqrt(2))
    assert radius == pytest.approx(0.0865, abs=5e-5)
    assert "1.7308" in rule


@pytest.mark.parametrize(("rmse", "is_given"), [((1.0, 0.601), True), ((1.0, 0.599), False), ((0.0, 0.0), True)])
def test_axes_too_unlike_get_no_circle(rmse, is_given):
    radius, rule = radius95(np.array(rmse))
    assert np.isfinite(radius) == is_given
    assert rule.startswith("none") != is_given


def test_the_circle_of_alike_axes_holds_95_of_100():
    """Against numbers drawn: two normal axes of one sd, seed fixed."""
    drawn = np.random.default_rng(7).normal(0, 0.4, (200_000, 2))
    radius, _ = radius95(errors(drawn).rmse)
    assert np.mean(np.hypot(*drawn.T) <= radius) == pytest.approx(0.95, abs=0.002)


def rows(**columns):
    n = len(next(iter(columns.values())))
    base = {"placed_by": "survey", "radius95_m": 0.1, "chainage_m": 0.0, "fix_chainage_m": 0.0, "fix_offset_m": 0.0}
    base |= {"easting": 0.0, "northing": 0.0, "fix_easting": 0.0, "fix_northing": 0.0, "stays": False, "surveyed": True}
    return pd.DataFrame({name: [value] * n for name, value in base.items()} | columns)


def test_checkpoints_are_fix_less_shot_in_metres():
    """A frame in feet gives metres."""
    found = accuracy(rows(fix_easting=[e / 0.3048 for e in EAST], fix_northing=[n / 0.3048 for n in NORTH]), 0.3048)
    row = found[found["comparison"] == CHECKPOINTS].iloc[0]
    assert row["joints_n"] == 7
    assert row["rmse_r_m"] == pytest.approx(0.1216, abs=5e-5)
    assert row["radius95_m"] == pytest.approx(0.2101, abs=1e-4)
    assert "fewer than the 20" in row["says"]
    assert "shifted together in easting and northing" in row["says"]


def test_a_joint_fused_elsewhere_is_no_checkpoint():
    found = accuracy(rows(fix_easting=[0.1, 500.0], stays=[False, True]), 1.0)
    row = found[found["comparison"] == CHECKPOINTS].iloc[0]
    assert (row["joints_n"], row["rmse_1_m"]) == (1, pytest.approx(0.1))
    assert "1 joint fused elsewhere left out" in row["says"]


def test_without_a_shot_there_is_no_checkpoint():
    found = accuracy(rows(placed_by=["fix", "fix+tally"], surveyed=[False, False]), 1.0)
    assert CHECKPOINTS not in set(found["comparison"])
    assert list(found.loc[found["comparison"] == PLACES, "method"]) == ["fix", "fix+tally"]


def test_a_place_by_its_own_fix_tells_nothing_along_the_line():
    found = accuracy(rows(placed_by=["fix"] * 2, surveyed=[False] * 2, fix_offset_m=[0.3, -0.4]), 1.0)
    row = found[found["comparison"] == SCATTER].iloc[0]
    assert row["rmse_2_m"] == pytest.approx(np.sqrt((0.09 + 0.16) / 2))
    assert np.isnan(row[["rmse_1_m", "rmse_r_m", "radius95_m"]].astype(float)).all()


def test_shots_of_a_route_become_checkpoints(tmp_path):
    offsets = zip(EAST, NORTH, strict=True)
    records = [
        f"J{i},2026-03-01 {7 + i:02d}:00,{E0 + 12 * i + e:.3f},{N0 + n:.3f},215" for i, (e, n) in enumerate(offsets, 1)
    ]
    make_route(tmp_path, records=csv_of(*records))
    shots = ["joint,easting,northing,sd", *(f"J{i},{E0 + 12 * i},{N0},0.01" for i in range(1, 8))]
    (tmp_path / "survey.csv").write_text("\n".join(shots) + "\n", encoding="utf-8")
    found = build.build(settings.load(tmp_path)).tables["accuracy"]
    row = found[found["comparison"] == CHECKPOINTS].iloc[0]
    assert row["joints_n"] == 7
    assert row["mean_1_m"] == pytest.approx(-0.0589, abs=6e-4)
    assert row["rmse_r_m"] == pytest.approx(0.1216, abs=6e-4)
