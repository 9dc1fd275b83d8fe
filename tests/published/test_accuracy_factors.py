"""What a stated accuracy means: factors between the standard deviation of one axis, radii and published rules."""

import math

import numpy as np
import pytest

from asbuilt.judge.places import judge_uncertain
from asbuilt.look import CANNOT_TELL, IN_WINDOW, OUT_OF_WINDOW
from asbuilt.place.radius import radius95_m
from asbuilt.read.positions import SD_FACTOR
from asbuilt.window import ASSUMED_SD_M, RADIUS_95, TWO_SIDED_95

FOUR_DECIMALS = 5e-5
RAYLEIGH = pytest.mark.computed("Rayleigh distribution: r = sqrt(-2 ln(1 - p)), to four decimals")


@RAYLEIGH
@pytest.mark.parametrize(
    ("meaning", "multiplier"), [("sd", 1.0), ("cep", 1.1774), ("rms", 1.4142), ("68%", 1.5096), ("95%", 2.4477)]
)
def test_a_stated_accuracy_is_so_many_standard_deviations_of_one_axis(meaning: str, multiplier: float) -> None:
    assert 1 / SD_FACTOR[meaning] == pytest.approx(multiplier, abs=FOUR_DECIMALS)


@RAYLEIGH
@pytest.mark.parametrize(
    ("meaning", "multiplier"), [("sd", 2.4477), ("cep", 2.0789), ("rms", 1.7308), ("68%", 1.6215), ("95%", 1.0)]
)
def test_a_stated_accuracy_times_its_factor_is_the_95_percent_radius(meaning: str, multiplier: float) -> None:
    assert RADIUS_95 * SD_FACTOR[meaning] == pytest.approx(multiplier, abs=FOUR_DECIMALS)


@pytest.mark.seen("FGDC NSSDA: horizontal 1.7308 times RMSE, where both axes have the same, and 1.9600 times, vertical")
def test_the_factors_of_the_nssda() -> None:
    assert RADIUS_95 * SD_FACTOR["rms"] == pytest.approx(1.7308, abs=FOUR_DECIMALS)
    assert pytest.approx(1.9600, abs=FOUR_DECIMALS) == TWO_SIDED_95


@pytest.mark.from_memory("FGDC NSSDA: 2.4477 times the RMSE of one axis")
def test_the_factor_of_one_axis_of_the_nssda() -> None:
    assert pytest.approx(2.4477, abs=FOUR_DECIMALS) == RADIUS_95


@pytest.mark.from_memory("FGDC NSSDA: a radial RMSE of 0.050 m is 0.0865 m at 95 %")
def test_a_radial_error_at_95_percent() -> None:
    assert 0.050 * RADIUS_95 * SD_FACTOR["rms"] == pytest.approx(0.0865, abs=5e-4)


@pytest.mark.computed("seven checkpoints of PE&RS, May 2014, p. 397: RMSE 0.1216 m radial is 0.2105 m at 95 %")
def test_the_checkpoints_of_a_published_example() -> None:
    east = np.array([-0.060, 0.100, -0.060, -0.112, -0.120, -0.100, -0.060])
    north = np.array([0.080, -0.045, 0.080, 0.007, 0.150, -0.045, 0.080])
    radial = np.sqrt(np.mean(east**2 + north**2))
    assert radial * SD_FACTOR["rms"] * RADIUS_95 == pytest.approx(0.2105, abs=FOUR_DECIMALS)


@pytest.mark.seen("rockyweb.usgs.gov, a lidar accuracy report of 2013: 51 points; its factor is cut to 1.96")
def test_a_published_vertical_accuracy() -> None:
    rmse_m, printed_m = 0.0574002119585, 0.112504415439
    assert TWO_SIDED_95 * rmse_m == pytest.approx(printed_m, abs=FOUR_DECIMALS * rmse_m)


@pytest.mark.seen("nationalacademies.org/read/4920/chapter/111: CEP = 0.589 (sd north + sd east), and 2 drms = 2.4 CEP")
def test_circular_error_probable() -> None:
    assert 1 / SD_FACTOR["cep"] == pytest.approx(2 * 0.589, abs=2 * 5e-4)
    assert 2 / SD_FACTOR["rms"] * SD_FACTOR["cep"] == pytest.approx(2.4, abs=0.05)


@pytest.mark.seen("nationalacademies.org/read/4920/chapter/111: 2 drms holds 95.4 to 98.2 %, the latter for a circle")
def test_twice_the_rms_holds_98_percent() -> None:
    r = 2 / SD_FACTOR["rms"]
    assert 1 - math.exp(-(r**2) / 2) == pytest.approx(0.982, abs=5e-4)


@pytest.mark.computed("Rayleigh distribution: twice a 68 % radius holds 98.95 %, and is not a 95 % radius")
def test_twice_a_68_percent_radius_is_more_than_95_percent() -> None:
    r = 2 / SD_FACTOR["68%"]
    assert 1 - math.exp(-(r**2) / 2) == pytest.approx(0.9895, abs=FOUR_DECIMALS)


@pytest.mark.second_hand("a forum, and common practice: drms = HDOP times the range error of one standard deviation")
def test_hdop_is_a_radial_rms_after_the_range_error() -> None:
    assert SD_FACTOR["hdop"] == SD_FACTOR["rms"]


@pytest.mark.second_hand("published owners' texts: recreational receivers are quoted at 3 to 15 m, 95 %")
def test_an_unstated_accuracy_is_taken_at_the_poor_end() -> None:
    assert pytest.approx(15.0) == ASSUMED_SD_M * RADIUS_95


@pytest.mark.computed("circular normal seen from off its centre, by quadrature of the plane density in 20 000 strips")
@pytest.mark.parametrize("offset", [0.0, 0.1, 0.5, 0.9, 1.5, 3.0, 10.0, 100.0])
def test_the_95_percent_radius_about_the_line_holds_95_percent(offset: float) -> None:
    radius = radius95_m(np.array([1.0]), np.array([offset]), np.array([1.0]))[0]
    turn = np.linspace(-np.pi / 2, np.pi / 2, 20_001)
    across, along = radius * np.sin(turn), radius * np.cos(turn)
    below = np.array([(math.erf((w - offset) / 2**0.5) - math.erf((-w - offset) / 2**0.5)) / 2 for w in along])
    held = np.trapezoid(np.exp(-(across**2) / 2) / np.sqrt(2 * np.pi) * below * along, turn)
    assert held == pytest.approx(0.95, abs=0.005)


@pytest.mark.computed("normal distribution: a fix good to 4 m, 95 %, cannot be judged against 2 m")
def test_a_coarse_fix_cannot_be_judged_against_a_narrow_window() -> None:
    sd = np.full(3, 4.0 * SD_FACTOR["95%"])
    assert TWO_SIDED_95 * sd[0] == pytest.approx(4.0 * 1.9600 / 2.4477, abs=1e-3)
    verdicts = judge_uncertain(np.array([0.0, 1.9, 5.3]), sd, half_width=2.0)
    assert verdicts.tolist() == [CANNOT_TELL, CANNOT_TELL, OUT_OF_WINDOW]
    assert judge_uncertain(np.array([0.0]), np.array([1.0]), half_width=2.0).tolist() == [IN_WINDOW]
