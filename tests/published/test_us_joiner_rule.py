"""How long a person may join plastic pipe by the US rule, against its text and three dated examples."""

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.judge.people import judge_operators
from asbuilt.judge.validity import months_later, us_rule_end
from asbuilt.look import IN_WINDOW, OUT_OF_WINDOW
from asbuilt.read.people import Listing
from asbuilt.settings.model import Pipe, PositionWindow, Route, Settings, Windows
from asbuilt.settings.sources import PeopleSource

UTC = ZoneInfo("UTC")


def verdict_of(*qualified: str, joint: str, diameter: float = 250.0, **sizes: float) -> str:
    """Return the verdict of one joint, its operator having qualified on these days, through the judge itself."""
    listed = pd.DataFrame(
        {"operator": "op 1", "method": None, "size_from_mm": np.nan, "size_to_mm": np.nan, "valid_to": pd.NaT}
        | {"source_file": "people.csv", "sheet": "", "source_row": range(2, 2 + len(qualified))}
        | {"valid_from": pd.to_datetime(list(qualified))}
        | sizes
    ).astype({"valid_to": "datetime64[us]"})
    people = Listing(listed, (), pd.DataFrame(), "people.csv", True)
    settings = Settings.model_construct(
        route=Route(name="x", crs="EPSG:7855"),
        pipe=Pipe(stick="12 m"),
        window=Windows(procedure="x", position=PositionWindow(offset="2 m")),
        people=PeopleSource(rule="49 CFR 192.285"),
    )
    rows = pd.DataFrame(
        {"source_file": ["a.csv"], "sheet": "", "source_row": 2, "joint": "1", "machine": "M1", "operator": "op 1"}
        | {"method": None, "fused_at": pd.to_datetime([joint]).astype("datetime64[us]"), "outcome": "joint"}
    )
    found = judge_operators(rows, np.array([diameter]), people=people, settings=settings, zone=UTC)
    return found.checks["verdict"].iloc[0]


@pytest.mark.seen("49 CFR 192.285(c), law.lawstack.com/cfr/49/192.285: once each calendar year, at most 15 months")
@pytest.mark.parametrize(
    ("qualified", "joint", "verdict"),
    [
        ("2023-03-01", "2024-05-31", IN_WINDOW),  # the year after is not over, and less than 15 months
        ("2023-03-01", "2024-06-02", OUT_OF_WINDOW),  # more than 15 months
        ("2023-12-20", "2025-01-05", OUT_OF_WINDOW),  # within 15 months, and none in the calendar year 2024
    ],
)
def test_the_three_dated_examples(qualified: str, joint: str, verdict: str) -> None:
    assert verdict_of(qualified, joint=joint) == verdict


@pytest.mark.computed("49 CFR 192.285(c): an interval of exactly 15 months does not exceed 15 months")
def test_the_last_day_is_a_day_of_validity() -> None:
    days = np.array(["2023-03-01", "2023-12-20", "2023-01-01", "2023-09-30"], "datetime64[D]")
    ends = ["2024-06-01", "2024-12-31", "2024-04-01", "2024-12-30"]
    assert us_rule_end(days).astype(str).tolist() == ends
    assert verdict_of("2023-03-01", joint="2024-06-01") == IN_WINDOW
    assert verdict_of("2023-12-20", joint="2024-12-31") == IN_WINDOW


@pytest.mark.computed("49 CFR 192.285(c): once each calendar year, so a qualification in 2024 carries into 2025")
def test_a_second_qualification_carries_on() -> None:
    assert verdict_of("2023-12-20", "2024-11-02", joint="2025-01-05") == IN_WINDOW
    assert verdict_of("2023-03-01", "2024-08-01", joint="2024-07-01") == OUT_OF_WINDOW  # between the two


@pytest.mark.seen("49 CFR 192.285(a), law.lawstack.com/cfr/49/192.285: no joint by a person who is not yet qualified")
def test_before_the_first_qualification() -> None:
    assert verdict_of("2023-03-01", joint="2023-02-28") == OUT_OF_WINDOW


@pytest.mark.seen("PHMSA interpretation PI-92-061 (1992): who qualifies with one size may join smaller ones so, too")
@pytest.mark.parametrize(("diameter", "verdict"), [(63.0, IN_WINDOW), (250.0, IN_WINDOW), (280.0, OUT_OF_WINDOW)])
def test_a_largest_size_alone_covers_smaller_pipe(diameter: float, verdict: str) -> None:
    assert verdict_of("2023-03-01", joint="2023-04-01", diameter=diameter, size_to_mm=250.0) == verdict


@pytest.mark.computed("calendar months as python-dateutil adds them: the last day of a shorter month")
@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(1, 300))
def test_months_are_calendar_months(day: date, months: int) -> None:
    found = months_later(np.array([day], "datetime64[D]"), months)
    assert found[0].astype(date) == day + relativedelta(months=months)
