"""The tables of how complete the lines are and how sure the places."""

from collections.abc import Mapping

import pandas as pd

from asbuilt import tables
from asbuilt.judge.accuracy import accuracy
from asbuilt.judge.completeness import Laid, completeness
from asbuilt.settings import Settings
from asbuilt.tabulate.journey import Journey


def completeness_table(journey: Journey, frames: Mapping[str, pd.DataFrame], settings: Settings) -> pd.DataFrame:
    """Return the measures of each line. `frames` holds alignment, joints, gaps, strings and test_sections."""
    listed = journey.sides.pipe_length_m
    listed.index = listed.index.str.strip().str.casefold() if len(listed) else listed.index
    ends = {a.line: int(a.first_joint) + int(a.last_joint) for a in settings.alignment}
    pipe_m = listed[~listed.index.duplicated()]
    laid = Laid(settings.pipe.stick, ends, pipe_m, settings.route.length_unit)
    return tables.conform(completeness(frames, laid), tables.COMPLETENESS)


def accuracy_table(journey: Journey) -> pd.DataFrame:
    """Return the accuracy of the joints in line, by method."""
    rows = journey.rows[journey.in_line]
    return tables.conform(accuracy(rows, journey.designs.frame.metres_per_unit), tables.ACCURACY)
