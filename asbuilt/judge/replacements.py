"""Which record takes which other one out of the line. Only a joint of the line replaces, and never in a circle."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Replacements:
    """`links` maps the row of a replacement to the row it takes out; `unclear` a row to why nothing was taken out."""

    links: dict[int, int]
    unclear: dict[int, str]


def replacements(joints: pd.DataFrame) -> Replacements:
    """Find what each row replaces. `joints` are the rows in line: joint, joint_id, replaces, fused_at.

    Numbers are compared without case and outer spaces. A joint re-made under its own number replaces the latest
    earlier record of it.
    """
    number, ids = (joints[name].str.strip().str.casefold() for name in ("joint", "joint_id"))
    told = joints["replaces"].dropna()
    asks = {int(i): str(asked).strip() for i, asked in zip(told.index, told, strict=True)}
    links: dict[int, int] = {}
    unclear: dict[int, str] = {}
    for i, asked in asks.items():
        others = joints[((number == asked.casefold()) | (ids == asked.casefold())) & (joints.index != i)]
        if asked.casefold() == number[i] and len(others):
            others = _latest_before(others, joints.loc[i, "fused_at"])
        if len(others) == 1:
            links[i] = int(others.index[0])
        else:
            unclear[i] = _why(asked, others, is_itself=asked.casefold() == number[i])
    for i in _in_circles(links):
        unclear[i] = f"says it replaces {asks[i]!r}, in a circle: none was taken out"
    return Replacements({i: j for i, j in links.items() if i not in unclear}, unclear)


def _latest_before(others: pd.DataFrame, moment: object) -> pd.DataFrame:
    earlier = others[others["fused_at"] < moment]
    return earlier[earlier["fused_at"] == earlier["fused_at"].max()]


def _why(asked: str, others: pd.DataFrame, *, is_itself: bool) -> str:
    if len(others):
        return f"says it replaces {asked!r}, which may be any of {', '.join(others['joint_id'])}: name one of these"
    if is_itself:
        return f"says it replaces {asked!r}, its own number, and there is no earlier record of it"
    return f"says it replaces {asked!r}, and no joint of the line has that number"


def _in_circles(links: dict[int, int]) -> set[int]:
    """Return the rows that come back to themselves by following what is replaced."""
    found = set()
    for start, replaced in links.items():
        here, steps = replaced, 0
        while here in links and here != start and steps <= len(links):
            here, steps = links[here], steps + 1
        if here == start:
            found.add(start)
    return found
