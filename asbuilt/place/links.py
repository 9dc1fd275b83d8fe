"""Which joints follow one another in the pipe, and how that is known.

Serial numbers that meet outrank a stated order in a string, and that outranks the order in which a machine worked:
sticks are joined in pairs first, and one machine serves two strings. A path is a row of joints each of which follows
the one before it; every joint stands in exactly one path, alone if nothing is known of its neighbours.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

# How it is known that a joint follows the one before, weakest first.
UNMET = 0  # next in the machine's time, but the serials of their pipes do not meet: something lies between
TIMED = 1  # next in the machine's time
STATED = 2  # next in the stated order of a string
MET = 3  # the serials of their pipes meet


@dataclass(frozen=True)
class Paths:
    """Joints in paths, one path after the other. All arrays have shape (n,) and speak of an entry.

    `row` is the position of the joint among the rows, `path` the number of its path; `how` is one of the words
    above and `length_m` the length of the pipe between the joint and the one before it (NaN: not stated; both mean
    nothing at the head of a path). `skipped` counts the joint numbers left out between the two (-1: they tell nothing).
    """

    row: np.ndarray
    path: np.ndarray
    how: np.ndarray
    length_m: np.ndarray
    skipped: np.ndarray

    @property
    def head(self) -> np.ndarray:
        """Whether each entry begins a path."""
        return np.diff(self.path, prepend=-1) != 0


@dataclass(frozen=True)
class Links:
    """Pairs of rows that are neighbours in the pipe: positions `a` and `b`, how it is known, pipe between them (m)."""

    a: np.ndarray
    b: np.ndarray
    how: np.ndarray
    length_m: np.ndarray


NO_LENGTHS = pd.Series(dtype=float)
NO_LINKS = Links(*(np.array([], dtype=t) for t in (np.int64, np.int64, np.int8, float)))


def paths(
    rows: pd.DataFrame, *, pipe_length_m: pd.Series, stated: Links = NO_LINKS, in_string_m: pd.Series = NO_LENGTHS
) -> Paths:
    """Return the paths of the rows.

    `rows` needs joint, machine, fused_at, string, order, pipe_a, pipe_b, length_a_m, length_b_m, length_added_m;
    `pipe_length_m` are the lengths of the tally by serial number, `in_string_m` those by string and order; `stated`
    links come from the route file.
    """
    serial = _by_serial(rows, pipe_length_m)
    number = _numbers(rows["joint"])
    timed = _by_time(rows, number)
    strong = _together(serial, stated, _by_string(rows, in_string_m))
    if len(strong.a):
        return _numbered(number, _joined(rows, strong, timed))
    return _numbered(number, _in_time(len(rows), timed))


def _together(*links: Links) -> Links:
    return Links(*(np.concatenate([getattr(k, f) for k in links]) for f in Links.__dataclass_fields__))


def _by_serial(rows: pd.DataFrame, pipe_length_m: pd.Series) -> Links:
    """Link the two joints that name the same pipe. A serial that stands on more than two joints names none."""
    named = pd.concat([rows["pipe_a"], rows["pipe_b"]])
    if named.isna().all():
        return NO_LINKS
    pipe, names = pd.factorize(_plain(named), sort=True)
    row, count = np.tile(np.arange(len(rows)), 2), np.zeros(len(names) + 1, dtype=np.int64)
    pipe[len(rows) :][pipe[len(rows) :] == pipe[: len(rows)]] = -1  # a joint that names one pipe twice
    np.add.at(count, pipe[pipe >= 0], 1)
    at = np.flatnonzero((pipe >= 0) & (count[pipe] == 2))
    pair = at[np.lexsort((row[at], pipe[at]))].reshape(-1, 2)
    first, other = rows[["length_a_m", "length_b_m"]].to_numpy(float).T.ravel()[pair].T
    tally = pipe_length_m.set_axis(_plain(pipe_length_m.index.to_series()))
    tally = tally[~tally.index.duplicated()]  # spelt in two cases it is one pipe
    length = tally.reindex(names[pipe[pair[:, 0]]]).to_numpy(float)
    for recorded in (first, other):
        length = np.where(np.isnan(length), recorded, length)
    return Links(row[pair[:, 0]], row[pair[:, 1]], np.full(len(pair), MET, np.int8), length)


def _plain(serial: pd.Series) -> pd.Series:
    return serial.astype("str").str.strip().str.casefold()


def _by_string(rows: pd.DataFrame, in_string_m: pd.Series) -> Links:
    """Link the joints of a string whose records state their order in it: joint k joins pipes k and k + 1."""
    found = _neighbours(rows, "string", "order", STATED)
    if in_string_m.empty or not len(found.a):
        return found
    known = in_string_m[~in_string_m.index.duplicated()]
    later = np.fmax(*(rows["order"].to_numpy(float)[side] for side in (found.a, found.b)))
    listed = known.reindex(list(zip(rows["string"].to_numpy(object)[found.a], later, strict=True))).to_numpy(float)
    return replace(found, length_m=np.where(np.isnan(found.length_m), listed, found.length_m))


def _by_time(rows: pd.DataFrame, number: np.ndarray) -> Links:
    """Link the joints that one machine made one after the other.

    Where times are equal, as where only days were written down, the numbers on the paper tell; where those do not
    follow one another either, nothing does.
    """
    found = _neighbours(rows.assign(number=_counted(rows, number)), "machine", "fused_at", TIMED, then="number")
    time = rows["fused_at"].to_numpy()
    told = (time[found.a] != time[found.b]) | (np.abs(number[found.b] - number[found.a]) <= _NEAR_NUMBER)
    return Links(*(getattr(found, name)[told] for name in Links.__dataclass_fields__))


def _neighbours(rows: pd.DataFrame, group: str, rank: str, how: int, then: str = "") -> Links:
    """Link the joints of each group, sorted by rank. The pipe between two is the one that was added at the first."""
    at = np.flatnonzero(rows[group].notna() & rows[rank].notna())
    code = pd.factorize(rows[group].iloc[at], sort=True)[0]
    ties = rows[then].to_numpy(float)[at] if then else np.zeros(len(at))
    order = np.lexsort((ties, pd.factorize(rows[rank].iloc[at], sort=True)[0], code))
    at, same = at[order], np.diff(code[order]) == 0
    a, b = at[:-1][same], at[1:][same]
    return Links(a, b, np.full(len(a), how, np.int8), rows["length_added_m"].to_numpy(float)[a])


def _in_time(n: int, timed: Links) -> Paths:
    """Return the runs of the machines as paths, and every other one of n joints as a path of its own."""
    before, how, length = np.full(n, -1), np.zeros(n, np.int8), np.full(n, np.nan)
    before[timed.b], how[timed.b], length[timed.b] = timed.a, timed.how, timed.length_m
    linked = np.zeros(n, dtype=bool)
    linked[timed.a] = linked[timed.b] = True
    begins = before[timed.a] < 0
    place = np.column_stack([timed.a, timed.b])[np.column_stack([begins, np.ones_like(begins)])]
    order = np.concatenate([place, np.flatnonzero(~linked)])
    return Paths(order, np.cumsum(before[order] < 0) - 1, how[order], length[order], np.full(n, -1))


class _Ends:
    """Joints joined to paths, link by link: no joint gets a third neighbour, no path bites its tail."""

    def __init__(self, n: int) -> None:
        self.beside: list[list[tuple[int, int, float]]] = [[] for _ in range(n)]
        self.root = list(range(n))

    def _find(self, i: int) -> int:
        while self.root[i] != i:
            self.root[i] = self.root[self.root[i]]
            i = self.root[i]
        return i

    def join(self, a: int, b: int, how: int, length: float) -> None:
        """Make a and b neighbours if both have an end free and belong to different paths."""
        x, y = self._find(a), self._find(b)
        if x == y or len(self.beside[a]) > 1 or len(self.beside[b]) > 1:
            return
        self.root[x] = y
        self.beside[a].append((b, how, length))
        self.beside[b].append((a, how, length))


def _joined(rows: pd.DataFrame, strong: Links, timed: Links) -> Paths:
    """Join serial links, then stated ones, then those of time between ends that are still free."""
    ends = _Ends(len(rows))
    for order in (np.flatnonzero(strong.how == MET), np.flatnonzero(strong.how == STATED)):
        for i in order:
            ends.join(int(strong.a[i]), int(strong.b[i]), int(strong.how[i]), float(strong.length_m[i]))
    named = (rows["pipe_a"].notna() & rows["pipe_b"].notna()).to_numpy()
    for a, b, length in zip(timed.a.tolist(), timed.b.tolist(), timed.length_m.tolist(), strict=True):
        ends.join(a, b, UNMET if named[a] and named[b] else TIMED, length)
    return _walked(ends)


def _walked(ends: _Ends) -> Paths:
    """Walk every path from one end to the other, from the end that comes first among the rows."""
    seen = [False] * len(ends.beside)
    entries: list[tuple[int, int, int, float]] = []
    number = 0
    for start, beside in enumerate(ends.beside):
        if seen[start] or len(beside) == 2:
            continue
        here, how, length = start, 0, np.nan
        while True:
            seen[here] = True
            entries.append((here, number, how, length))
            onward = [step for step in ends.beside[here] if not seen[step[0]]]
            if not onward:
                break
            here, how, length = onward[0]
        number += 1
    columns = [np.array(column) for column in zip(*entries, strict=True)]
    return Paths(columns[0], columns[1], columns[2].astype(np.int8), columns[3], np.full(len(entries), -1))


def _numbers(joint: pd.Series) -> np.ndarray:
    """Return the last number that stands in each joint's number, NaN: none."""
    digits = joint.astype("str").str.replace(r"^.*?(\d{1,9})\D*$", r"\1", regex=True)
    return pd.to_numeric(digits.where(digits.str.isdecimal()), errors="coerce").to_numpy(float)


def _counted(rows: pd.DataFrame, number: np.ndarray) -> np.ndarray:
    """Return the numbers as they rise with time, machine by machine: some crews count down."""
    time = rows["fused_at"].rank(method="dense").to_numpy(float)
    known = np.isfinite(number) & np.isfinite(time)
    machine = np.where(known, pd.factorize(rows["machine"])[0] + 1, 0)
    count = np.maximum(np.bincount(machine, weights=known), 1)
    middle = [np.bincount(machine, weights=np.where(known, x, 0)) / count for x in (time, number)]
    both = np.where(known, (time - middle[0][machine]) * (number - middle[1][machine]), 0)
    return np.where(np.bincount(machine, weights=both)[machine] < 0, -number, number)


def _numbered(number: np.ndarray, found: Paths) -> Paths:
    """Count the numbers that are skipped along each path, where its numbers follow one another at all."""
    apart = np.diff(number[found.row], prepend=np.nan)
    apart[found.head] = np.nan
    size = np.bincount(found.path)
    rises, falls = ((np.bincount(found.path, weights=apart == one) / size)[found.path] for one in (1, -1))
    apart = np.where(falls > rises, -apart, apart)  # some crews count down; a number that turns back counts anew
    follows = np.maximum(rises, falls)
    many = size[found.path] >= _TELLING
    skipped = np.where(many & (follows > _FOLLOWS) & np.isfinite(apart) & (apart >= 1), apart - 1, -1)
    return Paths(found.row, found.path, found.how, found.length_m, np.minimum(skipped, _MANY).astype(np.int64))


_NEAR_NUMBER = 5  # apart at most, for the numbers to tell who followed whom where times do not
_TELLING, _FOLLOWS, _MANY = 6, 0.6, 99  # so many joints, such a share of them, tell that numbers follow one another
