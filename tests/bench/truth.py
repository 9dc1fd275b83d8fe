"""Seeded cases with known truth: what was laid, what was recorded of it, and what is missing. All invented.

A case gives the lines, the rows as the reader would hand them over (in working order), and for each row where its
joint really lies. Lengths in metres; the frame is a plane of metres. Joints are numbered as they were recorded, without
a hole where a record is missing, unless a case says otherwise: then only fixes and sticks can tell.

What is drawn for every case besides the noise of its fixes: sticks differ by 3 cm (one sd), a run lies longer or
shorter than its sticks by 0.2 % (one sd: 0.2 % is what 10 to 15 K do to free polyethylene), and the pipe lies off its
alignment by 0.4 m (one sd, neighbours correlated by 0.8).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from asbuilt.alignment import MeasuredLine, bearing_deg, locate

STICK = 12.0


@dataclass(frozen=True)
class Case:
    """`truth` has line, chainage_m, x and y for each of `rows`; `missing` the chainages without a record, by line."""

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


def related(rng: np.random.Generator, count: int, *, sd: float, correlation: float, axes: int = 2) -> np.ndarray:
    """Return errors, shape (count, axes): normal, each axis with `sd`, neighbours correlated."""
    fresh = rng.normal(0, sd, (count, axes))
    out = fresh.copy()
    for i in range(1, count):
        out[i] = correlation * out[i - 1] + np.sqrt(1 - correlation**2) * fresh[i]
    return out


def sticks(rng: np.random.Generator, count: int, *, start: float = 0.0) -> np.ndarray:
    """Return the chainages of so many joints a stick apart, each stick and the scale of all drawn."""
    return start + np.cumsum(STICK * (1 + rng.normal(0, 0.002)) + rng.normal(0, 0.03, count))


@dataclass(frozen=True)
class Laid:
    """Joints in working order: chainage, and where they really lie (count, 2)."""

    at: np.ndarray
    xy: np.ndarray


def laid(rng: np.random.Generator, line: MeasuredLine, at: np.ndarray) -> Laid:
    """Lay joints at chainages, off the line by a little."""
    bearing = np.radians(bearing_deg(line, at))
    off = related(rng, len(at), sd=0.4, correlation=0.8, axes=1)
    return Laid(at, locate(line, at) + off * np.column_stack([np.cos(bearing), -np.sin(bearing)]))


def records(
    rng: np.random.Generator, where: Laid, *, sd: float, correlation: float = 0.3, machine: str = "M1"
) -> pd.DataFrame:
    """Return rows for joints in the order given, one machine, an hour apart."""
    n = len(where.at)
    xy = where.xy + related(rng, n, sd=sd, correlation=correlation)
    columns = {"easting": xy[:, 0], "northing": xy[:, 1], "sd_m": sd, "frame_accuracy_m": 0.0, "line": None}
    columns |= {
        "joint": "",
        "joint_id": "",
        "machine": machine,
        "kind": "production",
        "source_file": "records.csv",
        "surveyed": False,
    }
    columns |= {"fused_at": pd.date_range("2026-01-05", periods=n, freq="h"), "string": None, "order": np.nan}
    columns |= {
        "replaces": None,
        "pipe_a": None,
        "pipe_b": None,
        "length_a_m": np.nan,
        "length_b_m": np.nan,
        "length_added_m": np.nan,
    }
    return pd.DataFrame(columns, index=range(n))


def with_serials(rows: pd.DataFrame, place: np.ndarray, tag: str = "P") -> pd.DataFrame:
    """Write on each row the two pipes it joins; `place` counts the joints along the line."""
    return rows.assign(pipe_a=[f"{tag}{i}" for i in place], pipe_b=[f"{tag}{i + 1}" for i in place])


Part = tuple[str, Laid, pd.DataFrame]


def case(
    name: str, lines: dict[str, MeasuredLine], parts: list[Part], lost: int, rng: np.random.Generator, **how: bool
) -> Case:
    """Put parts together and lose `lost` inner records of each; `numbered`: the numbers are skipped with them."""
    rows, truth, missing = [], [], []
    for k, (line, where, found) in enumerate(parts):
        n = len(where.at)
        gone = rng.choice(np.arange(2, n - 2), lost, replace=False) if lost else []
        keep = ~np.isin(np.arange(n), gone)
        number = np.arange(n)[keep] if how.get("numbered") else np.arange(keep.sum())
        rows.append(found[keep].assign(joint=[f"{k}-{i:04d}" for i in number]))
        xy = where.xy[keep]
        truth.append(pd.DataFrame({"line": line, "chainage_m": where.at[keep], "x": xy[:, 0], "y": xy[:, 1]}))
        missing += [(line, float(where.at[i])) for i in gone]
    whole = pd.concat(rows, ignore_index=True)
    return Case(name, tuple(lines.items()), whole, pd.concat(truth, ignore_index=True), tuple(missing))


def plain(
    rng: np.random.Generator, *, sd: float = 3.0, correlation: float = 0.3, stated: float = 1.0, tell: str = ""
) -> Case:
    """300 sticks on a winding line, five records lost; `stated` scales the accuracy that is stated.

    `tell` is "numbers" (they are skipped with the records) or "serials" (of the pipes, on each record).
    """
    line = winding(rng, 3800)
    where = laid(rng, line, sticks(rng, 300))
    rows = records(rng, where, sd=sd, correlation=correlation).assign(sd_m=sd * stated)
    if tell == "serials":
        rows = with_serials(rows, np.arange(300))
    said = f"plain, {sd:g} m noise" + (f", correlation {correlation:g}" if correlation != 0.3 else "")
    said += f", stated as {stated * sd:g} m" if stated != 1 else f", {tell}" if tell else ""
    return case(said, {"main": line}, [("main", where, rows)], 5, rng, numbered=tell == "numbers")


def pups(rng: np.random.Generator, *, lengths: bool = False) -> Case:
    """Uneven sticks, and one in ten a pup of 2 to 8 m; `lengths`: each record states the pipe it adds."""
    length = np.where(rng.random(300) < 0.1, rng.uniform(2, 8, 300), STICK + rng.normal(0, 0.05, 300))
    line = winding(rng, 3900)
    where = laid(rng, line, np.cumsum(length))
    rows = records(rng, where, sd=3.0)
    if lengths:
        rows = rows.assign(length_added_m=np.append(length[1:], STICK) + rng.normal(0, 0.01, 300))
    name = f"uneven sticks and pups, lengths {'stated' if lengths else 'unknown'}"
    return case(name, {"main": line}, [("main", where, rows)], 5, rng)


def hairpin(rng: np.random.Generator, *, apart: float = 8.0, sd: float = 4.0) -> Case:
    """Down 500 m, across, and back beside itself."""
    line = line_through((0, 0), (500, 0), (500, apart), (0, apart))
    where = laid(rng, line, sticks(rng, 83))
    return case(
        f"hairpin, legs {apart:g} m apart, {sd:g} m noise",
        {"main": line},
        [("main", where, records(rng, where, sd=sd))],
        0,
        rng,
    )


def serpentine(rng: np.random.Generator) -> Case:
    """Twenty legs of 6 km, 8 m apart: every fix has several legs in reach."""
    ends = [((0.0, 6000.0)[:: 1 if i % 2 == 0 else -1], 8.0 * i) for i in range(20)]
    line = line_through(*((x, y) for xs, y in ends for x in xs))
    where = laid(rng, line, STICK * np.arange(1, int(line.measure[-1] // STICK)))
    return case("serpentine, 20 legs 8 m apart", {"main": line}, [("main", where, records(rng, where, sd=4.0))], 0, rng)


def in_odd_order(rng: np.random.Generator, *, shuffled: bool, base: Callable[..., Case] = hairpin) -> Case:
    """Joints made in ten blocks of which a third run backwards, or in no order at all."""
    made = base(rng)
    order = np.arange(len(made.rows))
    blocks = [b[::-1] if rng.random() < 1 / 3 else b for b in np.array_split(order, 10)]
    after = rng.permutation(order) if shuffled else np.concatenate([blocks[i] for i in rng.permutation(10)])
    rows = made.rows.iloc[after].assign(fused_at=made.rows["fused_at"].to_numpy()).reset_index(drop=True)
    rows["joint"] = [f"{i:04d}" for i in range(len(rows))]
    name = f"{base.__name__}, {'joints in no order' if shuffled else 'blocks in odd order'}"
    return replace(made, name=name, rows=rows, truth=made.truth.iloc[after].reset_index(drop=True))


def three_crews(rng: np.random.Generator, *, restart: bool = False) -> Case:
    """Three machines on one line at the same time, one of them working backwards; `restart`: each counts from 1."""
    line, at = winding(rng, 3800), sticks(rng, 300)
    parts: list[Part] = []
    for k, reach in enumerate(np.split(at, 3)):
        where = laid(rng, line, reach[::-1] if k == 1 else reach)
        parts.append(("main", where, records(rng, where, sd=3.0, machine=f"M{k + 1}")))
    found = case("three crews, one backwards", {"main": line}, parts, 2, rng)
    if restart:
        number = found.rows.groupby("machine").cumcount() % 20 + 1
        return replace(
            found, name="three crews, numbers restart", rows=found.rows.assign(joint=number.astype(str).str.zfill(2))
        )
    return found


def fused_at_one_place(rng: np.random.Generator, *, tie_in_sd: float = 0.3, serials: bool = True) -> Case:
    """Ten strings of 20, fused at a stand every 240 m and pulled ahead: the first fused lies farthest.

    The tie-ins are made where they lie, with fixes of their own.
    """
    line = winding(rng, 2700)
    at = sticks(rng, 210)
    where = laid(rng, line, at)
    string, place = np.arange(210) // 21, np.arange(210) % 21
    is_tie = place == 20
    order = np.lexsort((np.where(is_tie, 21, -place), string))
    rows = records(rng, Laid(at[order], where.xy[order]), sd=0.5)
    tie, which = is_tie[order], string[order]
    stand = locate(line, at[which * 21]) + np.array([0, 5.0])
    xy = np.where(
        tie[:, None],
        where.xy[order] + rng.normal(0, tie_in_sd, (210, 2)),
        stand + related(rng, 210, sd=0.5, correlation=0.3),
    )
    rows = rows.assign(easting=xy[:, 0], northing=xy[:, 1], sd_m=np.where(tie, tie_in_sd, 0.5))
    rows["kind"] = np.where(tie, "tie-in", "production")
    if serials:
        rows = with_serials(rows, order)
    name = f"fused at one place, tie-ins to {tie_in_sd:g} m{', serials' if serials else ', no serials'}"
    return case(name, {"main": line}, [("main", Laid(at[order], where.xy[order]), rows)], 0, rng)


def bore(rng: np.random.Generator) -> Case:
    """100 sticks in a trench, a string of 25 laid out beyond the exit and pulled back through a bore, then 50 more.

    Serials are known; the string was strung out 40 m beside the line, walking, so its fixes look like a line.
    """
    line = winding(rng, 2400)
    at = sticks(rng, 175)
    where = laid(rng, line, at)
    rows = records(rng, where, sd=1.0)
    pulled = (np.arange(175) >= 100) & (np.arange(175) < 125)
    beside = locate(line, at + 310.0) + np.array([0.0, 140.0]) + related(rng, 175, sd=1.0, correlation=0.3)
    xy = np.where(pulled[:, None], beside, rows[["easting", "northing"]])
    rows = with_serials(rows.assign(easting=xy[:, 0], northing=xy[:, 1]), np.arange(175))
    return case("a bore, its string fused elsewhere, serials", {"main": line}, [("main", where, rows)], 0, rng)


def on_the_bank(rng: np.random.Generator) -> Case:
    """A reach of 60 joints fused 7 m beside the trench and rolled in: chainages hold, offsets are those of the bank."""
    line = winding(rng, 2600)
    where = laid(rng, line, sticks(rng, 200))
    bearing = np.radians(bearing_deg(line, where.at))
    bank = 7.0 * ((np.arange(200) >= 70) & (np.arange(200) < 130))
    rows = records(rng, where, sd=1.0)
    rows["easting"] += bank * np.cos(bearing)
    rows["northing"] -= bank * np.sin(bearing)
    return case("strung on the bank, 7 m off", {"main": line}, [("main", where, rows)], 3, rng)


def blunders(rng: np.random.Generator) -> Case:
    """One fix in fifty lies 8 sigma or more away."""
    base = plain(rng)
    bad = rng.random(len(base.rows)) < 0.02
    angle, far = rng.uniform(0, 2 * np.pi, len(bad)), rng.uniform(24, 80, len(bad)) * bad
    rows = base.rows.assign(
        easting=base.rows["easting"] + far * np.cos(angle), northing=base.rows["northing"] + far * np.sin(angle)
    )
    truth = base.truth.assign(blunder=bad)
    return replace(base, name="blunders of 8 sigma and more", rows=rows, truth=truth)


def multipath(rng: np.random.Generator) -> Case:
    """Now and then eight fixes in a row are pulled 6 m to one side, as walls and trees do."""
    base = plain(rng, sd=2.0)
    pulled = np.zeros((len(base.rows), 2))
    for start in rng.choice(len(base.rows) - 8, 6, replace=False):
        angle = rng.uniform(0, 2 * np.pi)
        pulled[start : start + 8] = 6.0 * np.array([np.cos(angle), np.sin(angle)])
    rows = base.rows.assign(easting=base.rows["easting"] + pulled[:, 0], northing=base.rows["northing"] + pulled[:, 1])
    return replace(base, name="multipath: eight fixes pulled 6 m", rows=rows)


def twins(rng: np.random.Generator, *, told: tuple[str, ...] = ()) -> Case:
    """Two lines 1.5 m apart: no fix can tell them; the records of the lines in `told` name theirs."""
    one, two = line_through((0, 0), (1200, 0)), line_through((0, 1.5), (1200, 1.5))
    parts: list[Part] = []
    for name, line in (("one", one), ("two", two)):
        where = laid(rng, line, STICK * np.arange(1, 100))
        parts.append(
            (name, where, records(rng, where, sd=1.0, machine=name).assign(line=name if name in told else None))
        )
    named = "twin lines 1.5 m apart" + (f", line recorded on {len(told)}" if told else "")
    return case(named, {"one": one, "two": two}, parts, 0, rng)


def branch(rng: np.random.Generator) -> Case:
    """A branch that leaves the main at 600 m under 30 degrees."""
    main = line_through((0, 0), (1200, 0))
    away = line_through((600, 0), (600 + 600 * np.cos(np.pi / 6), 600 * np.sin(np.pi / 6)))
    a, b = laid(rng, main, STICK * np.arange(1, 100)), laid(rng, away, STICK * np.arange(1, 50))
    parts = [("main", a, records(rng, a, sd=1.5)), ("branch", b, records(rng, b, sd=1.5, machine="M2"))]
    return case("a branch under 30 degrees", {"main": main, "branch": away}, parts, 0, rng)


CASES: tuple[Callable[[np.random.Generator], Case], ...] = (
    plain,
    lambda rng: plain(rng, tell="numbers"),
    lambda rng: plain(rng, sd=6.0),
    lambda rng: plain(rng, sd=6.0, tell="numbers"),
    lambda rng: plain(rng, sd=6.0, tell="serials"),
    lambda rng: plain(rng, correlation=0.8),
    lambda rng: plain(rng, stated=0.5),
    lambda rng: plain(rng, stated=2.0),
    pups,
    lambda rng: pups(rng, lengths=True),
    hairpin,
    lambda rng: in_odd_order(rng, shuffled=False),
    lambda rng: in_odd_order(rng, shuffled=True),
    lambda rng: in_odd_order(rng, shuffled=False, base=plain),
    lambda rng: in_odd_order(rng, shuffled=True, base=plain),
    three_crews,
    lambda rng: three_crews(rng, restart=True),
    fused_at_one_place,
    lambda rng: fused_at_one_place(rng, tie_in_sd=3.0),
    lambda rng: fused_at_one_place(rng, serials=False),
    bore,
    on_the_bank,
    blunders,
    multipath,
    twins,
    lambda rng: twins(rng, told=("one",)),
    lambda rng: twins(rng, told=("one", "two")),
    branch,
)
