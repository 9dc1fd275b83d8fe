"""Ids as people remember and mistype them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

import numpy as np
import pandas as pd

_PART = re.compile(r"\d+|[^\W\d_]+")
_COLUMNS: Mapping[str, str] = {"joint_id": "the id", "joint": "the number on the paper"}
_ALIKE = 0.6
_MOST = 8


@dataclass(frozen=True)
class Named:
    """The joints that a text can name: `ids`, best first, and `how` they fit it.

    `sure`: the text names each of them; else they are merely alike.
    """

    ids: tuple[str, ...]
    how: str
    sure: bool = True


def key(text: str) -> str:
    """Return what is left of an id without case, signs, and zeros in front of a number.

    >>> key("C-097"), key("c 97"), key("TI-4/M1")
    ('c 97', 'c 97', 'ti 4 m 1')
    """
    parts = _PART.findall(text.lower())
    return " ".join(part.lstrip("0") or "0" if part.isdigit() else part for part in parts)


def named(text: str, names: pd.DataFrame) -> Named:
    """Return the joints that `text` may name; `names` has the columns joint_id and joint.

    The first of these that fits anything decides: the whole id, the whole number on the paper, either of them written
    otherwise (`key`), a part of either, a part written otherwise. Of parts those that an id begins with come first.
    What is only alike is never sure. A "joint" in front is a word for what is sought, unless an id itself begins so.
    The search of the map has the same rule (assets/map/finding.js).
    """
    asked, ids = " ".join(text.lower().split()), names["joint_id"].to_numpy(object)
    wanted = asked.removeprefix("joint ")
    if not key(wanted):
        return Named((), "")
    plain = [names[name].str.lower().to_numpy(object) for name in _COLUMNS]
    keys: list[np.ndarray] = []  # of many joints they take a while, and an id that is written as it is needs none
    for whole in dict.fromkeys([asked, wanted]):
        if found := _whole(whole, plain, ids, ""):
            return found
        keys = keys or [np.array([key(name) for name in column], dtype=object) for column in plain]
        if found := _whole(key(whole), keys, ids, ", written otherwise"):
            return found
    for part, of, how in ((wanted, plain, ""), (key(wanted), keys, ", written otherwise")):
        if rows := _holding(part, *of):
            return Named(tuple(ids[rows]), f"a part of the id or number{how}")
    return Named(_alike(key(wanted), keys[0], ids), "alike", sure=False)


def _whole(wanted: str, of: Sequence[np.ndarray], ids: np.ndarray, how: str) -> Named | None:
    """Return the joints whose whole id, else whole number, is as wanted; None: there are none."""
    for name, column in zip(_COLUMNS.values(), of, strict=True):
        if (fits := np.asarray(column == wanted)).any():
            return Named(tuple(ids[fits]), f"{name}{how}")
    return None


def _holding(part: str, ids: np.ndarray, numbers: np.ndarray) -> list[int]:
    """Return the rows whose id or number holds a part, those whose id begins with it first."""
    rows = [i for i, (a, b) in enumerate(zip(ids, numbers, strict=True)) if part in a or part in b]
    return sorted(rows, key=lambda i: not str(ids[i]).startswith(part))


def _alike(wanted: str, keys: np.ndarray, ids: np.ndarray) -> tuple[str, ...]:
    """Compare only with ids that are about as long and have a number or word in common, or begin alike."""
    words = set(wanted.split())
    near = [
        i
        for i, other in enumerate(keys)
        if abs(len(other) - len(wanted)) <= 2 and (other[:1] == wanted[:1] or words.intersection(other.split()))
    ]
    matcher = SequenceMatcher(None, "", wanted, autojunk=False)
    scored = []
    for i in near:
        matcher.set_seq1(keys[i])
        if matcher.real_quick_ratio() >= _ALIKE and matcher.quick_ratio() >= _ALIKE:
            scored.append((-matcher.ratio(), i))
    return tuple(ids[i] for score, i in sorted(scored)[:_MOST] if -score >= _ALIKE)
