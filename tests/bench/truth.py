"""Seeded cases with known truth: what was laid, what was recorded of it, and what is missing. All invented.

A case gives the lines, the rows as the reader would hand them over (in working order), and for each row where its
joint really lies. Lengths in metres; the frame is a plane of metres.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.alignment import MeasuredLine, locate

STICK = 12.0


@dataclass(frozen=True)
class Case:
    """`truth` has line and chainage_m for each of `rows`; `missing` the chainages without a record, by line."""

    name: str
    lines: tuple[tuple[str, MeasuredLine], ...]
    rows: pd.DataFrame
    truth: pd.DataFrame
    missing: tuple[tuple[str, float], ...]


def line_through(*vertices: tuple[float, float]) -> MeasuredLine:
    """Return the measured line through vertices."""
    xy = np.array(vertices, dtype=float)
    return MeasuredLine(xy, np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]))


def winding(rng: np.random.Generator, length: float) -> MeasuredLine:
    """Return a line of gentle bends with a vertex every 10 m."""
    bearing = np.cumsum(rng.normal(0, 0.03, int(length / 10)))
    return line_through(*map(tuple, np.cumsum(10 * np.column_stack([np.cos(bearing), np.sin(bearing)]), axis=0)))


def noise(rng: np.random.Generator, count: int, *, sd: float, correlation: float) -> np.ndarray:
    """Return errors of fixes, shape (count, 2): normal, each axis with `sd`, neighbours correlated."""
    fresh = rng.normal(0, sd, (count, 2))
    out = fresh.copy()
    for i in range(1, count):
        out[i] = correlation * out[i - 1] + np.sqrt(1 - correlation**2) * fresh[i]
    return out


def records(
    rng: np.random.Generator, line: MeasuredLine, at: np.ndarray, *, sd: float, correlation: float = 0.3
) -> pd.DataFrame:
    """Return rows for joints at chainages `at`, in the order given, one machine, an hour apart."""
    xy = locate(line, at) + noise(rng, len(at), sd=sd, correlation=correlation)
    columns = {"easting": xy[:, 0], "northing": xy[:, 1], "sd_m": sd, "frame_accuracy_m": 0.0, "line": None}
    columns |= {"joint": [f"{i:04d}" for i in range(len(at))], "machine": "M1"}
    columns |= {"fused_at": pd.date_range("2026-01-05", periods=len(at), freq="h")}
    return pd.DataFrame(columns)


Parts = list[tuple[str, np.ndarray, pd.DataFrame]]


def case(name: str, lines: dict[str, MeasuredLine], parts: Parts, lost: int, rng: np.random.Generator) -> Case:
    """Put parts together and lose `lost` inner records of each."""
    rows, truth, missing = [], [], []
    for line, at, found in parts:
        gone = rng.choice(np.arange(2, len(at) - 2), lost, replace=False) if lost else []
        keep = ~np.isin(np.arange(len(at)), gone)
        rows.append(found[keep])
        truth.append(pd.DataFrame({"line": line, "chainage_m": at[keep]}))
        missing += [(line, float(at[i])) for i in gone]
    whole = pd.concat(rows, ignore_index=True)
    return Case(name, tuple(lines.items()), whole, pd.concat(truth, ignore_index=True), tuple(missing))


def plain(rng: np.random.Generator, *, sd: float = 3.0, correlation: float = 0.3, stated: float = 1.0) -> Case:
    """300 sticks on a winding line, five records lost; `stated` scales the accuracy that is stated."""
    line = winding(rng, 3700)
    at = STICK * np.arange(1, 301) + np.cumsum(rng.normal(0, 0.03, 300))
    found = records(rng, line, at, sd=sd, correlation=correlation).assign(sd_m=sd * stated)
    said = "" if stated == 1 else f", stated as {stated * sd:g} m"
    return case(
        f"plain, {sd:g} m noise, correlation {correlation:g}{said}", {"main": line}, [("main", at, found)], 5, rng
    )


def pups(rng: np.random.Generator) -> Case:
    """Uneven sticks, and one in ten a pup of 2 to 8 m."""
    lengths = np.where(rng.random(300) < 0.1, rng.uniform(2, 8, 300), STICK + rng.normal(0, 0.05, 300))
    at, line = np.cumsum(lengths), winding(rng, 3900)
    return case("uneven sticks and pups", {"main": line}, [("main", at, records(rng, line, at, sd=3.0))], 5, rng)


def hairpin(rng: np.random.Generator, *, apart: float = 8.0, sd: float = 4.0) -> Case:
    """Down 500 m, across, and back beside itself."""
    line = line_through((0, 0), (500, 0), (500, apart), (0, apart))
    at = STICK * np.arange(1, int(line.measure[-1] // STICK))
    found = records(rng, line, at, sd=sd)
    return case(f"hairpin, legs {apart:g} m apart, {sd:g} m noise", {"main": line}, [("main", at, found)], 0, rng)


def serpentine(rng: np.random.Generator) -> Case:
    """Twenty legs of 6 km, 8 m apart: every fix has several legs in reach."""
    ends = [((0.0, 6000.0)[:: 1 if i % 2 == 0 else -1], 8.0 * i) for i in range(20)]
    line = line_through(*((x, y) for xs, y in ends for x in xs))
    at = STICK * np.arange(1, int(line.measure[-1] // STICK))
    return case("serpentine, 20 legs 8 m apart", {"main": line}, [("main", at, records(rng, line, at, sd=4.0))], 0, rng)


def hairpin_in_odd_order(rng: np.random.Generator, *, shuffled: bool) -> Case:
    """The hairpin again, its joints made in ten blocks of which a third run backwards, or in no order at all."""
    base = hairpin(rng)
    order = np.arange(len(base.rows))
    blocks = [b[::-1] if rng.random() < 1 / 3 else b for b in np.array_split(order, 10)]
    made = rng.permutation(order) if shuffled else np.concatenate([blocks[i] for i in rng.permutation(10)])
    rows = base.rows.iloc[made].assign(fused_at=base.rows["fused_at"].to_numpy()).reset_index(drop=True)
    name = "hairpin, joints in no order" if shuffled else "hairpin, blocks in odd order"
    return Case(name, base.lines, rows, base.truth.iloc[made].reset_index(drop=True), base.missing)


def three_crews(rng: np.random.Generator) -> Case:
    """Three machines on one line at the same time, one of them working backwards."""
    line, at = winding(rng, 3700), STICK * np.arange(1, 301)
    parts = []
    for k, reach in enumerate(np.split(at, 3)):
        order = reach[::-1] if k == 1 else reach
        found = records(rng, line, order, sd=3.0).assign(machine=f"M{k + 1}")
        parts.append(("main", order, found.assign(joint=f"{k}" + found["joint"])))
    return case("three crews, one backwards", {"main": line}, parts, 2, rng)


def fused_at_one_place(rng: np.random.Generator, *, tie_in_sd: float = 0.3) -> Case:
    """Ten strings of 20, fused at a stand every 240 m and pulled ahead; the tie-ins have good fixes."""
    line, at = winding(rng, 2700), STICK * np.arange(1, 211)
    found = records(rng, line, at, sd=0.5)
    string = np.arange(210) // 21
    is_tie = np.arange(210) % 21 == 20
    stand = locate(line, at[string * 21]) + np.array([0, 5.0])
    xy = np.where(
        is_tie[:, None], locate(line, at) + rng.normal(0, tie_in_sd, (210, 2)), stand + rng.normal(0, 0.5, (210, 2))
    )
    found = found.assign(easting=xy[:, 0], northing=xy[:, 1], sd_m=np.where(is_tie, tie_in_sd, 0.5))
    found["kind"] = np.where(is_tie, "tie-in", "production")
    return case("fused at one place, strings of 20", {"main": line}, [("main", at, found)], 0, rng)


def blunders(rng: np.random.Generator) -> Case:
    """One fix in fifty lies 8 sigma or more away."""
    base = plain(rng)
    bad = rng.random(len(base.rows)) < 0.02
    angle, far = rng.uniform(0, 2 * np.pi, len(bad)), rng.uniform(24, 80, len(bad)) * bad
    rows = base.rows.assign(
        easting=base.rows["easting"] + far * np.cos(angle), northing=base.rows["northing"] + far * np.sin(angle)
    )
    return Case("blunders of 8 sigma and more", base.lines, rows, base.truth, base.missing)


def twins(rng: np.random.Generator) -> Case:
    """Two lines 1.5 m apart: no fix can tell them, and no record says."""
    one, two = line_through((0, 0), (1200, 0)), line_through((0, 1.5), (1200, 1.5))
    at = STICK * np.arange(1, 100)
    parts = [(n, at, records(rng, line, at, sd=1.0).assign(machine=n)) for n, line in (("one", one), ("two", two))]
    return case("twin lines 1.5 m apart", {"one": one, "two": two}, parts, 0, rng)


def branch(rng: np.random.Generator) -> Case:
    """A branch that leaves the main at 600 m under 30 degrees."""
    main = line_through((0, 0), (1200, 0))
    away = line_through((600, 0), (600 + 600 * np.cos(np.pi / 6), 600 * np.sin(np.pi / 6)))
    a, b = STICK * np.arange(1, 100), STICK * np.arange(1, 50)
    parts = [
        ("main", a, records(rng, main, a, sd=1.5)),
        ("branch", b, records(rng, away, b, sd=1.5).assign(machine="M2")),
    ]
    return case("a branch under 30 degrees", {"main": main, "branch": away}, parts, 0, rng)


CASES: tuple[Callable[[np.random.Generator], Case], ...] = (
    plain,
    lambda rng: plain(rng, sd=6.0),
    lambda rng: plain(rng, correlation=0.8),
    lambda rng: plain(rng, stated=0.5),
    pups,
    hairpin,
    lambda rng: hairpin_in_odd_order(rng, shuffled=False),
    lambda rng: hairpin_in_odd_order(rng, shuffled=True),
    three_crews,
    fused_at_one_place,
    blunders,
    twins,
    branch,
)
