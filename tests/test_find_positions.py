"""Positions as people type them: every form there and back, and what is unclear."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.find.typed import Typed, UnclearError, typed

LATITUDES = st.floats(-89.999, 89.999).map(lambda v: round(v, 7))
LONGITUDES = st.floats(-179.999, 179.999).map(lambda v: round(v, 7))


def letters(value, positive, negative):
    return negative if math.copysign(1, value) < 0 else positive


def parts(value, count):
    """Degrees, minutes, seconds as whole steps of the last: to 1e-7 degrees, 1e-5 minutes or 1e-4 seconds."""
    if count == 1:
        return (f"{abs(value):.7f}",)
    steps = round(abs(value) * (60 * 10**5 if count == 2 else 3600 * 10**4))
    whole, rest = divmod(steps, 60 * 10**5 if count == 2 else 3600 * 10**4)
    if count == 2:
        return str(whole), f"{rest / 10**5:.5f}"
    minutes, seconds = divmod(rest, 60 * 10**4)
    return str(whole), str(minutes), f"{seconds / 10**4:.4f}"


def marked(value, count):
    return "".join(f"{part}{sign}" for part, sign in zip(parts(value, count), "°'\"", strict=False))


@given(
    LATITUDES, LONGITUDES, st.sampled_from([1, 2, 3]), st.booleans(), st.booleans(), st.sampled_from(["", " ", ", "])
)
def test_letters_and_marks_there_and_back(latitude, longitude, count, before, east_first, between):
    pair = [
        (letters(latitude, "N", "S"), marked(latitude, count)),
        (letters(longitude, "E", "W"), marked(longitude, count)),
    ]
    told = [
        f"{letter} {text}" if before else f"{text} {letter}" for letter, text in (pair[::-1] if east_first else pair)
    ]
    found = typed(between.join(told))
    assert found.in_degrees
    assert abs(found.y - latitude) < 1e-7
    assert abs(found.x - longitude) < 1e-7


@given(LATITUDES, LONGITUDES, st.sampled_from([2, 3]), st.sampled_from([" ", ":"]))
def test_spaces_and_colons_there_and_back(latitude, longitude, count, between):
    told = [
        f"{between.join(parts(value, count))} {letters(value, *winds)}"
        for value, winds in ((latitude, "NS"), (longitude, "EW"))
    ]
    found = typed(" ".join(told))
    assert abs(found.y - latitude) < 1e-7
    assert abs(found.x - longitude) < 1e-7


@given(
    LATITUDES, LONGITUDES, st.sampled_from(["{:.7f}, {:.7f}", "{:.7f} {:.7f}", "geo:{:.7f},{:.7f}", "{:.7f};{:.7f}"])
)
def test_signs_there_and_back(latitude, longitude, form):
    found = typed(form.format(latitude, longitude))
    assert (found.y, found.x) == (latitude, longitude)


@given(
    st.floats(100_000, 900_000),
    st.floats(1000, 9_999_000),
    st.sampled_from(["{} {}", "{}, {}", "{}mE {}mN", "E {} N {}"]),
)
def test_eastings_and_northings_there_and_back(easting, northing, form):
    east, north = f"{easting:.3f}", f"{northing:.3f}"
    found = typed(f"EPSG:7855 {form.format(east, north)}")
    assert (found.x, found.y, found.crs) == (float(east), float(north), "EPSG:7855")


def test_the_minus_of_printed_texts_and_northing_first():
    assert typed("\u221242.5, 149.25").y == -42.5
    assert typed("N 5252855 E 681275").x == 681275


def test_the_uncertainty_of_an_address():
    """RFC 5870, section 3.4.3: the parameter u is an uncertainty in metres; section 3.4.1: crs is wgs84 if left out."""
    assert typed("geo:48.2010,16.3695,183;crs=wgs84;u=40").uncertainty_m == 40
    assert math.isnan(typed("geo:48.2010,16.3695,183").uncertainty_m)
    with pytest.raises(UnclearError, match="not known here"):
        typed("geo:48.2,16.4;crs=Moon-2011")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("42,85229 S 149,22748 E", "commas stand"),
        ("42.8 S 149.2", "not clear"),
        ("149.2, -42.8", "no latitude of 149.2"),
        ("42°61'S 149°E", "sixty or more"),
        ("42.5°30'S 149°E", "decimals"),
        ("42.8 N 43.2 S", "one direction"),
        ("E 512000 E 5260000", "one E and one N"),
        ("geo:here", "no geo: address"),
        ("EPSG:7855 hello", "no two numbers"),
    ],
)
def test_what_is_unclear_is_refused(text, found):
    with pytest.raises(UnclearError, match=found) as refused:
        typed(text)
    assert refused.value.do


@pytest.mark.parametrize(
    "text", ["C-097", "8+20.21", "12/M1/2026-03-01", "2026-03-01", "1-12", "1250 m", "S1", "", "TI-4"]
)
def test_ids_stations_and_lengths_are_no_positions(text):
    assert typed(text) is None


def read_or_refused(text):
    try:
        return typed(text)
    except UnclearError as refused:
        return refused.do


@given(st.text(max_size=40) | st.text(alphabet="0123456789 .,;:+-°'\"NSEWnsewm", max_size=30))
def test_any_text_is_read_or_refused_with_what_to_do(text):
    found = read_or_refused(text)
    assert found is None or (math.isfinite(found.x + found.y) if isinstance(found, Typed) else found)
