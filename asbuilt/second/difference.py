"""What changed between two records, as frames."""

from dataclasses import dataclass

import pandas as pd

from asbuilt.as_built import Title
from asbuilt.second.moves import Moves


@dataclass(frozen=True)
class Difference:
    """What changed, a frame for each kind of change with a row for each.

    `added`, `removed`: joints that one side alone has, with their verdicts; `removed` with what became of their row.
    `renamed`: old_id, new_id. `moves`, `placed_anew`, `measured`: as `second.moves` tells them.
    `verdicts`: which (fusion or position), old, new.
    `values`: column, title, unit, old, new. `decisions`: about, id, what, old, new and
    both states. `gaps`: what (opened, closed, changed), old, new. `settings`: topic, name, old, new. `counts`: name,
    old, new, change, of all counts. `not_compared` names columns that one of the two does not have. `folders` are the
    two hand-overs as they were named; empty where one of the two is not handed over yet.
    """

    old: Title
    new: Title
    counts: pd.DataFrame
    added: pd.DataFrame
    removed: pd.DataFrame
    renamed: pd.DataFrame
    moves: Moves
    placed_anew: pd.DataFrame
    measured: pd.DataFrame
    verdicts: pd.DataFrame
    values: pd.DataFrame
    decisions: pd.DataFrame
    gaps: pd.DataFrame
    settings: pd.DataFrame
    not_compared: tuple[str, ...]
    folders: tuple[str, ...] = ()
