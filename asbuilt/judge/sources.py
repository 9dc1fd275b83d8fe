"""Offsets that a whole source shares: a machine on the bank, an antenna away from the joint, a wrong datum.

The group is judged before the single joint, and only where it is proven. On a reach that keeps its direction nothing
but the part across it can be seen. Nothing is moved here: a shift stands in route.toml or it is not applied.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from asbuilt.alignment import MeasuredLine, bearing_deg
from asbuilt.judge.finding import Finding
from asbuilt.judge.places import Window
from asbuilt.window import ASSUMED_SD_M, SURE_OF_LEG

_LEAST = 8  # joints that share an offset; of fewer it is said one by one
_PROVEN = 3.0  # standard errors
_MANY = 3  # pieces of one machine that are said one by one
_SHARE = 1 / 3  # of the window: what is less changes no verdict by itself
_MOST = 0.8  # of a group follow what is said of all of it
_RELATED = 0.5  # correlation of neighbours' errors that is allowed for at least, as in `place.sequence`
_LULL = pd.Timedelta(hours=5)  # parts two days of work: what the sky does to one receiver lasts for hours, so a day
# counts as one fix, however many were taken (common practice, no source)
_MEDIAN = np.sqrt(np.pi / 2)  # standard error of a median over that of a mean, normal errors
_TO_SD = 1.4826  # from a median absolute deviation, normal errors
_TURNS = 0.05  # least eigenvalue of the mean square of the cross direction: bearings that scatter by some 13 degrees
_BETTER = 4.5  # half a chi square of 9: three standard deviations between two explanations
_CROWD, _CROWDED = 4, 0.35  # as in `places`: joints made where their sticks would not fit do not show where they lie
_MACHINE = "the machine "  # before its name; no path of a route starts with it by chance
_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def common_offsets(
    rows: pd.DataFrame, window: Window, *, lines: Sequence[tuple[str, MeasuredLine]]
) -> tuple[Finding, ...]:
    """Return what the joints of a source, of a machine, or of a piece of a machine run have in common across the line.

    `rows` are the joints in line, placed: line, chainage_m, offset_m, leg_probability, sd_m, frame_accuracy_m,
    source_file, machine, fused_at, joint. Files come first, then machines, then pieces in the order of the work that
    lie on one side; what a wider group explains is not said again of a narrower one. Many pieces of one machine are
    one finding.
    """
    fixes = _fixes(rows, window, lines)
    numbers = fixes[["way", "bearing", "day", "noise_m", "sd_m", "frame_accuracy_m"]].astype(float)
    found, left = [], fixes["offset_m"].to_numpy(float).copy()
    for groups in (_by(fixes, "source_file", ""), _by(fixes, "machine", _MACHINE), _pieces(fixes, left, window)):
        shared: dict[str, list[tuple[pd.DataFrame, _Model]]] = {}
        for name, at in groups:
            model = _explained(numbers.iloc[at], left[at], window)
            if model is not None:
                left[at] -= model.fitted
                shared.setdefault(name, []).append((fixes.iloc[at], model))
        for name, pieces in shared.items():
            if len(pieces) > _MANY:
                found.append(_said_of_many(pieces, name, window))
            else:
                found += [_said(group, model, name=name, window=window) for group, model in pieces]
    return tuple(found)


def _fixes(rows: pd.DataFrame, window: Window, lines: Sequence[tuple[str, MeasuredLine]]) -> pd.DataFrame:
    """Return the rows whose offset means something, in the order of the work: with `run`, `day`, `bearing`, `way`."""
    sure = rows["offset_m"].notna() & ~(rows["leg_probability"] < SURE_OF_LEG)
    order = rows[sure].sort_values(["machine", "line", "fused_at"], kind="stable")
    run = order.groupby(["machine", "line"], dropna=False, sort=False)
    step = run["chainage_m"].diff()
    way = np.sign(step.fillna(0.0) + run["chainage_m"].diff(-1).mul(-1).fillna(0.0))
    new_day = (order["fused_at"].diff().abs() > _LULL) | (run.cumcount() == 0)
    noise = run["offset_m"].diff().abs().groupby(run.ngroup()).transform("median") * _TO_SD / np.sqrt(2)
    order = order.assign(run=run.ngroup(), way=way, day=new_day.cumsum(), noise_m=noise)
    stretch = np.cumsum(~(step.abs() < _CROWDED * window.stick_m).to_numpy())
    order = order[np.bincount(stretch, minlength=1)[stretch] < _CROWD]
    bearing = np.full(len(order), np.nan)
    for name, line in lines:
        here = (order["line"] == name).to_numpy()
        bearing[here] = np.radians(bearing_deg(line, order["chainage_m"].to_numpy(float)[here]))
    return order.assign(bearing=bearing)[np.isfinite(bearing)]


Group = tuple[str, np.ndarray]


def _by(fixes: pd.DataFrame, column: str, word: str) -> Iterator[Group]:
    for name, found in sorted(fixes.groupby(column).indices.items()):
        at = np.asarray(found)
        if len(at) >= _LEAST:
            yield f"{word}{name}", at


def _pieces(fixes: pd.DataFrame, left: np.ndarray, window: Window) -> Iterator[Group]:
    """Yield the pieces of machine runs on one side that are worth a closer look; `left` is read when asked for."""
    side, run = np.sign(left), fixes["run"].to_numpy()
    first = np.flatnonzero(np.r_[True, (side[1:] != side[:-1]) | (run[1:] != run[:-1])][: len(left)])
    size = np.diff(np.r_[first, len(left)])
    table = pd.DataFrame({"left": np.abs(left), "sd": fixes["sd_m"].fillna(ASSUMED_SD_M).to_numpy(float)})
    middle = table.groupby(np.repeat(np.arange(len(first)), size)).median()
    least = _PROVEN * _MEDIAN * middle["sd"] / np.sqrt(np.maximum(size * _independent(1.0, 0.0), 1.0))
    worth = (size >= _LEAST) & (middle["left"] > np.maximum(least, _SHARE * window.offset_m)).to_numpy()
    for start, n in zip(first[worth], size[worth], strict=True):
        if isinstance(name := fixes["machine"].iloc[start], str):
            yield f"{_MACHINE}{name}", np.arange(start, start + n)


@dataclass(frozen=True)
class _Model:
    """One way to explain the offsets of a group: `value` in metres (R +; or east, north), its standard error."""

    kind: str  # side: one side of the line; way: one side of the work; plane: one direction on the ground
    value: np.ndarray
    error_m: float
    fitted: np.ndarray
    rest: np.ndarray
    sd_m: float
    counts: float  # so many independent fixes
    holds: bool  # most of the group follow it
    beaten: frozenset[str] = frozenset()  # other ways, which explain the offsets less well

    @property
    def size_m(self) -> float:
        """Size of the value."""
        return float(np.hypot.reduce(self.value))


def _explained(group: pd.DataFrame, left: np.ndarray, window: Window) -> _Model | None:
    """Return the plainest proven way to explain what the offsets of a group have in common, or None."""
    models = [_model(kind, design, left, group=group) for kind, design in _designs(group)]
    tightest = min(models, key=lambda model: model.sd_m)
    weight = tightest.counts / len(left) / 2
    cost = [weight * (np.minimum(np.abs(m.rest) / tightest.sd_m, 3.0) ** 2).sum() for m in models]
    fit = [m for m, c in zip(models, cost, strict=True) if c <= min(cost) + _BETTER]
    beaten = frozenset({m.kind for m in models} - {m.kind for m in fit})
    proven = [m for m in fit if m.holds and m.size_m > max(_PROVEN * m.error_m, _SHARE * window.offset_m)]
    return replace(proven[0], beaten=beaten) if proven else None


def _designs(group: pd.DataFrame) -> Iterator[tuple[str, np.ndarray]]:
    """Yield what one metre would do to the offset of each joint, shape (n, parameters), where it can be told."""
    yield "side", np.ones((len(group), 1))
    way = group["way"].to_numpy(float)
    if min((way > 0).sum(), (way < 0).sum()) >= _LEAST:
        yield "way", way[:, None]
    bearing = group["bearing"].to_numpy(float)
    right = np.column_stack([np.cos(bearing), -np.sin(bearing)])  # the unit vector to the right: east, north
    if np.linalg.eigvalsh(right.T @ right / len(right))[0] >= _TURNS:
        yield "plane", right


def _model(kind: str, design: np.ndarray, offset: np.ndarray, *, group: pd.DataFrame) -> _Model:
    value = np.array([np.median(offset * design[:, 0])]) if kind != "plane" else _robust(design, offset)
    fitted = design @ value
    rest = offset - fitted
    stated = group["sd_m"].median()
    stated = ASSUMED_SD_M if np.isnan(stated) else float(stated)
    shown = group["noise_m"].median() / np.sqrt(1 - _RELATED)  # by the whole run, where it scatters more than is stated
    sd = max(_TO_SD * float(np.median(np.abs(rest))), stated, 0.0 if np.isnan(shown) else float(shown))
    noise = _TO_SD * float(np.median(np.abs(np.diff(rest)))) / np.sqrt(2)  # of neighbours: blind to what they share
    counts = max(1.0, min(len(rest) * _independent(noise, sd), group["day"].nunique()))
    weakest = float(np.linalg.eigvalsh(design.T @ design / len(design))[0])
    frame = float(group["frame_accuracy_m"].max())  # shared by all of them: it never averages out
    error = float(np.hypot(_MEDIAN * sd / np.sqrt(counts * weakest), frame))
    holds = bool((np.abs(rest) <= 3 * max(noise, stated)).mean() >= _MOST)
    return _Model(kind, value, error, fitted, rest, sd, counts, holds)


def _independent(noise: float, sd: float) -> float:
    """Return which share of the fixes counts as independent; neighbours that agree better than all do are related."""
    related = np.clip(1 - (noise / sd) ** 2, _RELATED, 0.98) if sd else _RELATED
    return float((1 - related) / (1 + related))


def _robust(design: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """Return the least squares solution in which stray offsets weigh less (Huber's weights, ten rounds)."""
    weight = np.ones(len(offset))
    for _ in range(10):
        value: np.ndarray = np.linalg.lstsq(design * weight[:, None], offset * weight, rcond=None)[0]
        rest = np.abs(offset - design @ value)
        edge = 1.5 * _TO_SD * np.median(rest)
        weight = np.sqrt(edge / np.maximum(rest, edge)) if edge else np.ones(len(offset))
    return value


def _said(group: pd.DataFrame, model: _Model, *, name: str, window: Window) -> Finding:
    text = window.unit.text
    whole = not name.startswith(_MACHINE)
    who = f"{name}: {len(group)} fixes" if whole else f"{len(group)} fixes of {name}{_from_to(group)}"
    size, error = text(model.size_m), f"(standard error {text(model.error_m)})"
    if model.kind == "plane":
        east, north = model.value
        what = f"lie {size} to the {_towards(*model.value)} of the line together {error}, also where it turns"
        figures = f"{text(east)} to the east and {text(north)} to the north"
        proposal = f'shift = ["{-east:.2f} m", "{-north:.2f} m"]' if whole else ""
        return Finding(f"{who} {what}: {figures}. {_cause(model, whole)}", group.index.to_numpy(), "offset", proposal)
    if model.kind == "way":
        side = "right" if model.value[0] > 0 else "left"
        what = f"lie {size} to the {side} of the way the work went {error}, and change sides of the line with it"
    else:
        what = f"lie {size} {'right' if model.value[0] > 0 else 'left'} of the alignment together {error}"
        what += _direction(group, model.value[0])
    return Finding(f"{who} {what}. {_cause(model, whole)}", group.index.to_numpy(), "offset")


def _said_of_many(pieces: list[tuple[pd.DataFrame, _Model]], name: str, window: Window) -> Finding:
    """Say of a run that wanders from side to side what the farthest of its pieces does, and how many there are."""
    group, most = max(pieces, key=lambda piece: piece[1].size_m)
    least = min(model.size_m for _, model in pieces)
    rows = np.concatenate([part.index.to_numpy() for part, _ in pieces])
    text = window.unit.text
    farthest = _said(group, most, name=name, window=window).statement
    return Finding(
        f"{len(pieces)} pieces of the run of {name}, {len(rows)} fixes in all, lie together on one side each, by"
        f" {text(least)} to {text(most.size_m)}. The farthest: {farthest}",
        rows,
        "offset",
    )


def _from_to(group: pd.DataFrame) -> str:
    return f" from joint {group['joint'].iloc[0]} to {group['joint'].iloc[-1]}"


def _towards(east: float, north: float) -> str:
    return _COMPASS[int(np.round(np.degrees(np.arctan2(east, north)) / 45)) % 8]


def _direction(group: pd.DataFrame, offset: float) -> str:
    """Say to which side of the compass, where that is one side for most of them."""
    bearing = group["bearing"].to_numpy(float)
    east, north = np.sign(offset) * np.cos(bearing).mean(), -np.sign(offset) * np.sin(bearing).mean()
    return f", to the {_towards(east, north)}" if np.hypot(east, north) > 0.9 else ""


def _cause(model: _Model, whole: bool) -> str:
    if model.kind == "plane":
        part = "" if whole else " A shift in route.toml is for a whole file."
        return f"A wrong datum, frame of the corrections or base station: check it on a known mark.{part}"
    if model.kind == "way":
        return "An antenna away from the joint, carried along by the machine: measure how far it stands off."
    causes = ["a machine on the bank", "a pipe laid beside the line"]
    causes += ["an antenna beside the machine"] if "way" not in model.beaten else []
    causes += ["a wrong datum"] if "plane" not in model.beaten else []
    seen = "They keep that side where the line turns" if "plane" in model.beaten else "Only the part across is seen"
    return f"{seen}: {', '.join(causes[:-1])} or {causes[-1]}. Ask the crew, and check it on a known mark."
