"""What progress is measured by: the plan as it was read, the working week, and whose each record file is."""

import re
from pathlib import PurePosixPath

import numpy as np
import pandas as pd

from asbuilt.as_built import Schedule
from asbuilt.settings import Settings, matching
from asbuilt.tabulate.journey import Journey

_WILD = re.compile(r"[*?\[].*$")  # of a pattern, what comes before its first wildcard names the crew
_COLUMNS = ("kind", "line", "from_chainage_m", "to_chainage_m", "remarks")


def schedule_of(journey: Journey, settings: Settings) -> Schedule:
    """Return the schedule of the route. The crews of the plan are named as the record files name them."""
    crews = crew_of_files(settings)
    rows = journey.sides.plan.rows
    days = {name: pd.to_datetime(rows[name], format="%Y-%m-%d").astype("datetime64[s]") for name in ("start", "date")}
    frame = rows[list(_COLUMNS)].assign(**days, crew=_as_named(rows["crew"], crews.values()))
    frame["remarks"] = frame["remarks"].fillna("")
    plan = settings.plan
    return Schedule(frame, crews, plan.working_days, settings.pipe.stick, plan.shift)


def crew_of_files(settings: Settings) -> dict[str | tuple[str, str], str]:
    """Return the crew of each record file, or of (file, sheet): the one mapping there is, as no field names a crew.

    It is what [[records]] calls it, else the stem of its record file: records/crew_b.xlsx is crew_b. Of a pattern, what
    stands before its wildcard: all files of records/crew_a_*.csv are crew_a.
    """
    found: dict[str | tuple[str, str], str] = {}
    for source in settings.records:
        sheets = source.sheet or ()
        for pattern in source.files:
            for path in matching(settings.folder, pattern):
                file = path.relative_to(settings.folder).as_posix()
                keys = [(file, sheet) for sheet in sheets] if source.crew and sheets else [file]
                found |= dict.fromkeys(keys, source.crew or file_crew(file, pattern))
    return found


def file_crew(file: str, pattern: str = "") -> str:
    """Return the crew that a record file is named after.

    >>> file_crew("records/crew_b.xlsx"), file_crew("records/crew_a_0310.csv", "records/crew_a_*.csv")
    ('crew_b', 'crew_a')
    >>> file_crew("records/north.csv", "records/*.csv")
    'north'
    """
    stem = PurePosixPath(_WILD.sub("", PurePosixPath(pattern).name) if pattern != file else file).stem
    return stem.rstrip(" _-.") or PurePosixPath(file).stem


def _as_named(words: pd.Series, crews: object) -> np.ndarray:
    """Return the crews of the plan in the words of the record files; who is no such crew keeps the plan's own."""
    known = {_key(name): name for name in crews}  # type: ignore[attr-defined]
    return np.array([known.get(_key(word), word) if isinstance(word, str) else "" for word in words], dtype=object)


def _key(name: str) -> str:
    """Return a name as it is compared: without case, and with one kind of blank.

    >>> _key(" Crew  B") == _key("crew_b")
    True
    """
    return re.sub(r"[\s_-]+", " ", name).strip().casefold()
