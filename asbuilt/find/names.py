"""Ids as people remember and mistype them."""

import re
from dataclasses import dataclass
from difflib import SequenceMatcher

import numpy as np
import pandas as pd

_PART = re.compile(r"\d+|[^\W\d_]+")
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
    parts = _PART.findall(text.casefold())
    return " ".join(part.lstrip("0") or "0" if part.isdigit() else part for part in parts)


def named(text: str, names: pd.DataFrame) -> Named:
    """Return the joints that `text` may name; `names` has the columns joint_id and joint.

    An id that is meant wins over a number on the paper, a whole one over a part. What is only alike is never sure.
    """
    wanted, ids = text.strip().casefold(), names["joint_id"].to_numpy(object)
    if not key(text):
        return Named((), "")
    folded = {column: names[column].str.strip().str.casefold() for column in ("joint_id", "joint")}
    for column, how in (("joint_id", "the id"), ("joint", "the number on the paper")):
        if (fits := (folded[column] == wanted).to_numpy(bool)).any():
            return Named(tuple(ids[fits]), how)
    keys = np.array([key(name) for name in ids], dtype=object)
    if (fits := keys == key(text)).any():
        return Named(tuple(ids[fits]), "the id, written otherwise")
    if (fits := folded["joint_id"].str.contains(wanted, regex=False).to_numpy(bool)).any():
        return Named(tuple(ids[fits]), "a part of the id")
    return Named(_alike(key(text), keys, ids), "alike", sure=False)


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
