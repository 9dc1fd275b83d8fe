"""Records that look copied, renumbered or dated by a receiver that lost its weeks: heuristics of our own.

No standard is cited for them, and none accuses anybody: each says what was found, with figures, and asks. Clocks,
cycles that are too short and fixes used again stand in `timing`, `clocks` and `frames`.
"""

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd
from scipy.special import pdtrc

from asbuilt.judge.finding import Finding, span
from asbuilt.judge.timing import numbered
from asbuilt.read.traces import Curve

# What differs from joint to joint by nature; size and ambient do not.
_MADE = (
    "heater_temperature_c", "drag_pressure_mpa", "bead_pressure_mpa", "soak_pressure_mpa", "fusion_pressure_mpa",
    "second_pressure_mpa", "initial_bead_mm", "soak_time_s", "removal_time_s", "ramp_time_s", "cooling_time_min",
    "cooling_out_time_min", "bead_width_mm", "misalignment_mm", "voltage_v", "actual_time_s",
)  # fmt: skip
_LEAST = 4  # quantities that two records share
_RECORDS = 5  # of one machine, by which it is seen how values vary
_CHANCE = 0.01  # that as many pairs or more would agree in all, at most
_EXPECTED = 0.5  # pairs by chance, at most: of more, those found cannot be told from those of chance
_FOLLOWS = 0.8  # of a quantity's variance in ranks, by the quantities before it: of more, it says nothing new
_OURS = " (a heuristic of this tool)"
_WEEKS = 1024  # a receiver counts its weeks in ten bits and starts anew (from memory; IS-GPS-200)
_ROLLOVER = pd.Timedelta(weeks=_WEEKS)
_NEAR = pd.Timedelta(days=60)  # of the rest of the job: then the weeks explain the time
_AWAY = 3  # places between the order by number and by time: a joint or two late is ordinary
_FEW = 0.1  # of a series: of more, its numbers do not follow the work at all
_SERIES = 10  # joints of which an order can be told
_NAMED = 5


def integrity_findings(rows: pd.DataFrame, curves: Mapping[str, Curve]) -> tuple[Finding, ...]:
    """Return what looks odd in the set of records as a whole.

    `rows` are those kept, without duplicates: joint, source_file, sheet, source_row, machine, trace, fused_at, and the
    fusion values; `curves` are of `read.traces` by the text of the column `trace` (empty: none were read).
    """
    return (*same_values(rows), *same_curves(rows, curves), *lost_weeks(rows), *out_of_order(rows))


def same_values(rows: pd.DataFrame) -> Iterator[Finding]:
    """Yield the joints of different numbers whose fusion values agree in every digit where chance does not do that.

    How many pairs chance would make is estimated for each file and machine from how the values vary there. Gauge
    pressures that follow the drag add nothing to it, and values that a crew writes every time prove nothing.
    """
    made = [name for name in _MADE if name in rows]
    for file, own in rows.groupby("source_file", sort=True):
        for machine, part in own.groupby(own["machine"].fillna(""), sort=True):
            alike, expected = _alike(part, made)
            if alike and _hardly(alike, expected):
                who = f"{file}, machine {machine}" if machine else str(file)
                yield _said_of_values(alike, expected, who)


def _alike(part: pd.DataFrame, made: list[str]) -> tuple[list[pd.DataFrame], float]:
    """Return the groups of rows that agree, each of two joint numbers or more, and the pairs that chance would make."""
    used = [name for name in made if part[name].notna().any()]
    stated = part.loc[part[used].notna().sum(axis=1) >= _LEAST, ["joint", *used]]
    if len(stated) < _RECORDS:
        return [], 0.0
    groups = stated.groupby(used, dropna=False, sort=False).ngroup()
    size = stated.groupby(groups)["joint"].transform("nunique")
    alike = [group for _, group in stated[size > 1].groupby(groups[size > 1], sort=False)]
    return alike, _by_chance(stated[used]) if alike else 0.0


def _hardly(alike: list[pd.DataFrame], expected: float) -> bool:
    """Tell whether chance would hardly make as many pairs as were found (a Poisson count of those expected)."""
    # three that agree are three pairs but two coincidences
    found = sum(group["joint"].nunique() - 1 for group in alike)
    return expected <= _EXPECTED and bool(pdtrc(found - 1, expected) <= _CHANCE)


def _by_chance(values: pd.DataFrame) -> float:
    """Return how many pairs of rows would agree in all columns by chance, with one column after the other."""
    # the coarse first: a size is told by few values, and finer ones follow it
    values = values[values.nunique().sort_values(kind="stable").index]
    codes = np.column_stack([pd.factorize(values[name], use_na_sentinel=False)[0] for name in values])
    ranks = values.rank().apply(lambda column: column.fillna(column.mean())).to_numpy(float)
    distinct = np.unique(codes, axis=0)  # a copy must not make its columns look as if they followed one another
    n = len(values)
    shares = [1.0 if _follows(ranks, j) else _share(codes, distinct, j) for j in range(codes.shape[1])]
    return float(n * (n - 1) / 2 * np.prod(shares))


def _share(codes: np.ndarray, distinct: np.ndarray, j: int) -> float:
    """Return the share of pairs that agree in column j, of all or of those that agree before it: the largest."""
    n = len(codes)
    # where no value comes twice, one pair is the least that can be said
    share = max(_agreeing(codes[:, [j]]), 1.0) / (n * (n - 1) / 2)
    before = [*([i] for i in range(j)), [*range(j)]] if j else []
    # one pair is added that agrees as any would, so that a few pairs prove little
    given = [(_agreeing(distinct[:, [*own, j]]) + share) / (_agreeing(distinct[:, own]) + 1) for own in before]
    return max([share, *given])


def _agreeing(codes: np.ndarray) -> float:
    """Return how many pairs of rows agree in all columns."""
    counts = np.unique(codes, axis=0, return_counts=True)[1]
    return float((counts * (counts - 1)).sum() / 2)


def _follows(ranks: np.ndarray, j: int) -> bool:
    """Tell whether column j is a sum of those before it, so far as ranks show it: values so fine never agree."""
    own = ranks[:, j]
    if not j or np.ptp(own) == 0:
        return False
    before = np.column_stack([np.ones(len(own)), ranks[:, :j]])
    fit, _, rank, _ = np.linalg.lstsq(before, own, rcond=None)
    free = len(own) - int(rank)
    # as many columns as rows explain anything: then the column counts for nothing
    return free < 1 or ((own - before @ fit) ** 2).sum() / free <= (1 - _FOLLOWS) * own.var(ddof=1)


def _said_of_values(alike: list[pd.DataFrame], expected: float, who: str) -> Finding:
    named = [_named(group) for group in alike[:_NAMED]]
    more = f"; and {len(alike) - _NAMED} more groups" if len(alike) > _NAMED else ""
    labels = np.concatenate([group.index.to_numpy() for group in alike])
    pairs = "fewer than 0.01 pairs" if expected < 0.01 else f"about {expected:.2f} pairs"
    statement = (
        f"{who}: {len(labels)} records of different joints agree in every digit of all their fusion values:"
        f" {'; '.join(named)}{more}. By chance {pairs} would, where values vary and follow one another as they do"
        f" here: was a record copied?{_OURS}"
    )
    return Finding(statement, np.sort(labels), "same values")


def _named(group: pd.DataFrame) -> str:
    *others, last = group["joint"].astype("str")
    values = int(group.drop(columns="joint").iloc[0].notna().sum())
    return f"{', '.join(others)} and {last}, {values} values each"


def same_curves(rows: pd.DataFrame, curves: Mapping[str, Curve]) -> Iterator[Finding]:
    """Yield the joints of different numbers that name one file, or files with the same pressures sample by sample."""
    digests = {name: curve.digest for name, curve in curves.items() if curve.digest}
    told = rows.assign(digest=rows["trace"].map(digests)).dropna(subset=["digest"])
    joints = told.groupby("digest", sort=False)["joint"].transform("nunique")
    for _, group in told[joints > 1].groupby("digest", sort=False):
        files = list(dict.fromkeys(curves[name].file for name in group["trace"]))
        what = f"name one curve, {files[0]}" if len(files) == 1 else "name curves that are the same in every sample"
        named = ", ".join(group["joint"].astype("str")[:_NAMED])
        more = f" and {len(group) - _NAMED} more" if len(group) > _NAMED else ""
        statement = (
            f"{len(group)} joints {what}: {named}{more}. No two fusions are the same: was a curve copied?{_OURS}"
        )
        yield Finding(statement, group.index.to_numpy(), "same curve")


def lost_weeks(rows: pd.DataFrame) -> Iterator[Finding]:
    """Yield, for each file, the times that fall 1024 weeks, or twice as many, before the rest of the job."""
    times = rows["fused_at"].dropna()
    if times.empty:
        return
    middle = times.sort_values(kind="stable").iloc[len(times) // 2]
    usual = times[(times - middle).abs() < _ROLLOVER / 2]
    for turns in (1, 2):
        there = times + turns * _ROLLOVER
        lost = times[(there > usual.min() - _NEAR) & (there < usual.max() + _NEAR) & ~times.index.isin(usual.index)]
        for file, own in rows.loc[lost.index].groupby("source_file", sort=True):
            yield _said_of_weeks(own, str(file), turns, whole=len(own) == (rows["source_file"] == file).sum())


def _said_of_weeks(own: pd.DataFrame, file: str, turns: int, *, whole: bool) -> Finding:
    weeks = turns * _WEEKS
    first = own.iloc[0]
    proposal = f'clock = "+{weeks * 168} h"' if turns == 1 and whole else ""
    do = f" {proposal} would put it right." if proposal else " No correction of the whole file puts that right."
    statement = (
        f"{span(own)}: {len(own)} times ({first['joint']}: {first['fused_at']:%Y-%m-%d}) fall among the others when"
        f" {weeks} weeks are added: did the receiver of {file} lose count of its weeks?{do}{_OURS}"
    )
    return Finding(statement, own.index.to_numpy(), "lost weeks", proposal)


def out_of_order(rows: pd.DataFrame) -> Iterator[Finding]:
    """Yield, for each file, the few joints whose number stands far from its place in the order of the work."""
    series = numbered(rows)
    by_time = series.groupby("series")["fused_at"].rank(method="first")
    place = series.groupby("series").cumcount() + 1
    size = place.groupby(series["series"]).transform("size")
    falls = series.groupby("series")["fused_at"].diff() < pd.Timedelta(0)
    mirrored = falls.groupby(series["series"]).transform("mean") > 0.5  # numbers may run against the work
    away = (by_time.where(~mirrored, size + 1 - by_time) - place).abs()
    odd = (away >= _AWAY) & (size >= _SERIES)
    few = odd.groupby(series["series"]).transform("mean") <= _FEW
    told = series.assign(away=away)[odd & few]
    for file, own in told.groupby("source_file", sort=True):
        named = ", ".join(f"{joint} ({n:.0f} places)" for joint, n in zip(own["joint"], own["away"], strict=True))
        statement = (
            f"{file}: {len(own)} numbers stand out of the order of their times, and all others of their series follow"
            f" it: {named}. A number or a time that was written wrong, or a joint that was made again?{_OURS}"
        )
        yield Finding(statement, own.index.to_numpy(), "order")
