"""Procedures as data: the form of their TOML, what is computed from it, and what has to be known for it."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError

from asbuilt import procedures
from asbuilt.errors import SettingsError
from asbuilt.fields import FIELDS
from asbuilt.procedures import Limits, Piece, Procedure, ProcedureWindow
from asbuilt.quantities import convert
from asbuilt.settings.model import Windows
from asbuilt.window import Span

OPEN = float("nan")
NAMES = sorted(procedures.shipped())


@cache
def loaded(name: str) -> Procedure:
    return procedures.load(name, Path())


def window_of(name: str, check: str) -> ProcedureWindow:
    return next(w for w in loaded(name).window if w.check == check)


def limits_of(window: ProcedureWindow, unit: str = "mm", **recorded: float) -> Limits:
    """Return the limits of one row; sizes are given in `unit`, everything else as stored."""
    known = {"wall": OPEN, "outside_diameter": OPEN, "ambient_temperature": 23.0, "drag_pressure": OPEN} | recorded
    sizes = ("wall", "outside_diameter")
    values = {FIELDS[n].stored: np.array([float(v)]) for n, v in known.items()}
    values |= {FIELDS[n].stored: convert(values[FIELDS[n].stored], unit, "mm") for n in sizes}
    return window.limits(values)


def sides(name: str, check: str, *, shown: str = "", **recorded) -> tuple[float, float]:
    """Return low and high of a check that can be computed, in the unit `shown` (stored unit where none)."""
    found = limits_of(window_of(name, check), **recorded)
    assert found.known.all(), found.why_not
    pair = np.concatenate([found.low, found.high])
    return tuple(convert(pair, FIELDS[check].unit, shown) if shown else pair)


def status(name: str, check: str, **recorded) -> str:
    return limits_of(window_of(name, check), **recorded).status[0]


WINDOW = {"check": "cooling_time", "unit": "min", "source": "invented", "status": "project"}


def window(**changes) -> ProcedureWindow:
    return ProcedureWindow(**WINDOW | changes)


def test_steps_hold_up_to_and_including_their_number_and_none_above_the_last():
    low = [{"over": "wall", "unit": "in", "steps": [(0.36, 8), (0.55, 10)]}]
    found = window(low=low).limits({"wall_mm": np.array([1.0, 0.36 * 25.4, 0.3601 * 25.4, 14.0])})
    assert found.low == pytest.approx([8, 8, 10, np.nan], nan_ok=True)
    assert found.why_not.tolist() == ["", "", "", "the procedure has no limit for this wall"]


def test_points_are_joined_by_straight_lines_and_end_at_the_last():
    found = window(low=[{"over": "wall", "points": [(5, 6), (7, 10)]}]).limits(
        {"wall_mm": np.array([4.9, 5, 5.5, 7, 8])}
    )
    assert found.low == pytest.approx([np.nan, 6, 7, 10, np.nan], nan_ok=True)


def test_a_table_of_two_ways_asks_for_both_quantities():
    low = [
        {"over": "wall", "polynomial": [0, factor], "where": [{"over": "ambient_temperature"} | band]}
        for factor, band in ((1, {"below": 15}), (2, {"from": 15}))
    ]
    wall, ambient = np.array([10.0, 10, 10, np.nan, np.nan]), np.array([14.9, 15, np.nan, 20, np.nan])
    found = window(low=low).limits({"wall_mm": wall, "ambient_temperature_c": ambient})
    assert found.low == pytest.approx([10, 20, np.nan, np.nan, np.nan], nan_ok=True)
    assert found.why_not[2:].tolist() == [
        "ambient temperature is not known", "wall is not known", "wall and ambient temperature are not known",
    ]  # fmt: skip


def test_a_bound_belongs_to_its_span_or_does_not_as_it_is_called():
    at = np.array([19.9, 20.0, 20.1])
    held = [Span(over="wall", **{word: 20}).holds(at).tolist() for word in ("from", "above", "below", "upto")]
    assert held == [[False, True, True], [False, False, True], [True, False, False], [True, True, False]]


def test_a_piece_may_have_a_source_and_status_of_its_own():
    low = [{"over": "wall", "upto": 10, "polynomial": [1]}]
    low += [{"over": "wall", "above": 10, "polynomial": [2], "status": "from memory", "source": "recalled"}]
    found = window(low=low).limits({"wall_mm": np.array([9.0, 11.0])})
    assert found.status.tolist() == ["project", "from memory"]
    assert found.source.tolist() == ["invented", "recalled"]


def test_what_a_correction_adds_is_in_the_limit_and_what_it_takes_off_is_not():
    correction = {"over": "ambient_temperature", "reference": 23, "within": 2, "percent": 1}
    of = {"ambient_temperature_c": np.array([13.0, 21.0, 25.0, 33.0, np.nan])}
    found = window(low=100, correction=correction).limits(of)
    assert found.low == pytest.approx([100, 100, 100, 110, 100])
    assert found.factor == pytest.approx([0.9, 1, 1, 1.1, np.nan], nan_ok=True)
    assert found.known.tolist() == [True, True, True, True, False]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, "cooling_time: neither low nor high is given"),
        ({"low": 1, "unit": "bar"}, "cooling_time: unit bar cannot be shown in min"),
        ({"low": [{"over": "wall", "unit": "s", "polynomial": [1]}]}, "unit s cannot be shown in mm"),
        ({"low": [{"over": "wall"}]}, "one of polynomial, points and steps"),
        ({"low": [{"over": "wall", "polynomial": [1], "steps": [(1, 2)]}]}, "one of polynomial, points and steps"),
        ({"low": [{"over": "wall", "points": [(2, 1), (1, 2)]}]}, "in rising order"),
        ({"low": [{"over": "remarks", "polynomial": [1]}]}, "'remarks' is no quantity of a record"),
    ],
)
def test_a_window_with_a_mistake_is_refused(change, says):
    with pytest.raises(ValidationError, match=says):
        window(**change)


def test_a_check_has_one_window():
    with pytest.raises(ValidationError, match="cooling_time has two windows"):
        Procedure(name="x", edition="1", window=[window(low=1), window(low=2)])


def test_a_joint_that_a_procedure_does_not_cover_says_why():
    ours = Procedure(name="Ours", edition="1", applies=[Span(over="wall", above=20)], window=[window(low=1)])
    said = ours.not_covered({"wall_mm": np.array([20.0, 20.1, np.nan])})
    assert said.tolist() == ["Ours covers a wall over 20 mm, and here it is 20 mm", "", "wall is not known"]


@pytest.mark.parametrize("name", NAMES)
def test_every_limit_that_is_shipped_says_where_it_was_read_and_how_well_that_is_known(name):
    procedure = loaded(name)
    for part in (*procedure.window, *procedure.alternative, *procedure.further):
        assert part.status in ("read", "second-hand", "from memory")
        assert part.source
    assert all(w.name for w in procedure.alternative)


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_procedure_has_a_limit_for_a_usual_pipe(name):
    of = {"wall": 37.3, "outside_diameter": 630.0, "drag_pressure": 0.5}
    for w in loaded(name).window:
        found = limits_of(w, **of)
        assert found.known.all(), (w.check, found.why_not)
        assert not (found.low > found.high).any()


def test_what_is_only_from_memory_says_so_in_its_edition_and_nothing_is_a_default():
    only = {n for n in NAMES if all(w.status == "from memory" for w in loaded(n).window)}
    assert len(only) == 4
    assert all("from memory: confirm against your edition" in loaded(n).edition for n in only)
    assert not any("from memory" in loaded(n).edition for n in set(NAMES) - only)
    assert Windows.model_fields["procedure"].is_required()


def test_an_unknown_procedure_is_refused_with_the_nearest():
    with pytest.raises(SettingsError, match="the nearest shipped is 'DVS 2207-1 later'"):
        procedures.load("DVS 2207-1 late", Path())


def test_a_number_needs_nothing_to_be_known():
    assert window(low=3).needs == ()
    assert Piece(over="wall", polynomial=[3], upto=5).needs == ("wall",)
