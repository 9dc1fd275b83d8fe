"""The phases of a butt fusion in its curve of pressure: bead-up, soak, heater removal, ramp, cooling under pressure.

Every rule here is the writers' judgement; no standard is cited for it. Levels are shares of the way from the pressure
at rest to that of the fusing, so that neither a sensor's zero nor the unit matters. Edges are interpolated between
samples; how long a phase may really be is said by the steps between the samples at its two edges.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

_HIGH, _LOW, _GONE = 0.7, 0.3, 0.1  # under pressure; let down for good; no pressure at all
_FOOT, _SHOULDER = 0.2, 0.8  # where the ramp is measured; it is drawn out to its ends, as for a rise time
_TOP_N, _REST_N = 5, 3  # samples that a level must last to count: a spike is shorter, a heater removal hardly longer
_BLIP_S, _SAG_S = 2.0, 30.0  # a shorter spell of pressure or of none; a sag that is pumped up again
_OF_LONGEST = 0.25  # of the longest stretch under pressure: a shorter one after the first is no cooling
_LEAST_SOAK_S = 20.0  # walls of 2 mm are heated that long (DERIVED from 10 s/mm): less is a change of plates
_CONTACT_S, _CONTACT = 5.0, 0.1  # the soak ends with the last contact of 5 s and a tenth of the time without pressure
_SEEN = 4.0  # noise, one sd: what is told apart; a level between two needs it to both sides
_SEEN_SHARE = 0.03  # and of the fusing pressure
_RELEASE_S = 5.0  # so long without pressure is a release
_USUAL = 10.0  # usual steps: a sample stands for no more, or a pause would outweigh the rest
_TO_SD = 1.4826 / np.sqrt(6.0)  # from a median absolute second difference, normal errors


@dataclass(frozen=True)
class Span:
    """How long a phase lasted, in seconds, and what the sampling leaves open of that, to both sides."""

    seconds: float
    open_s: float


@dataclass(frozen=True, eq=False)
class Phases:
    """What a curve shows: spans by name (soak, removal, ramp, cooling, without pressure), pressures in the curve's own

    unit, the seconds between which the plates were heated, and remarks on what cannot be told. `cause` says why there
    is none of it.
    """

    spans: dict[str, Span] = field(default_factory=dict)
    bead_pressure: float = np.nan
    fusion_pressure: float = np.nan
    heated: tuple[float, float] = (np.nan, np.nan)
    remarks: tuple[str, ...] = ()
    cause: str = ""


@dataclass(frozen=True, eq=False)
class _Trace:
    """A curve with its levels: pressure without lone spikes, weight of each sample, rest, top, noise (one sd)."""

    time: np.ndarray
    raw: np.ndarray
    pressure: np.ndarray
    weight: np.ndarray
    rest: float
    top: float
    noise: float
    jumps: np.ndarray

    def level(self, share: float) -> float:
        """Return the pressure at a share of the way from rest to top."""
        return self.rest + share * (self.top - self.rest)

    def middle(self, first: int, past: int) -> float:
        """Return the median over time of samples first to past - 1, of those under pressure."""
        part = slice(first, past)
        high = self.pressure[part] >= self.level(_HIGH)
        return _weighted_median(self.raw[part][high], self.weight[part][high])

    def crossing(self, at: int, level: float) -> tuple[float, float]:
        """Return when the pressure crossed a level between samples at - 1 and at, and how far apart these are."""
        t, p = self.time[at - 1 : at + 1], self.pressure[at - 1 : at + 1]
        share = 0.5 if p[0] == p[1] else float(np.clip((level - p[0]) / (p[1] - p[0]), 0.0, 1.0))
        return float(t[0] + share * (t[1] - t[0])), float(t[1] - t[0])


@dataclass(frozen=True)
class _Edge:
    """An edge of a phase: when, how far apart the samples about it are, and the sample after it."""

    when: float
    open_s: float
    at: int


def find_phases(time_s: np.ndarray, pressure: np.ndarray, jumps: np.ndarray) -> Phases:
    """Return the phases of one curve.

    `time_s` never falls, `pressure` is that of the gauge in any unit, shapes (n,), finite, n of 20 or
    more. `jumps` are the samples at
    which the clock was moved: a phase with one inside has no length. Nothing is raised: what cannot be seen is said.
    """
    trace = _trace(time_s, pressure, jumps)
    if trace.top - trace.rest <= max(_SEEN * trace.noise, 0.0) or trace.top <= 0:
        return Phases(cause="the pressure hardly changes: no fusion is seen")
    first, past = _under_pressure(trace)
    hold = _hold(trace, first, past)
    if hold is None:
        return Phases(cause=_no_hold(trace, first, past))
    bead, low = (int(first[hold - 1]), int(past[hold - 1])), int(first[hold])
    return _measured(trace, bead, low)


def _trace(time: np.ndarray, raw: np.ndarray, jumps: np.ndarray) -> _Trace:
    smooth = _without_spikes(raw)
    step = np.diff(time)
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
    weight = np.minimum(np.gradient(time), _USUAL * usual) + 1e-9
    rest = float(sliding_window_view(smooth, _REST_N).max(axis=1).min())
    most = float(sliding_window_view(smooth, _TOP_N).min(axis=1).max())
    upper = smooth >= rest + 0.5 * (most - rest)
    top = _weighted_median(smooth[upper], weight[upper])
    noise = float(np.median(np.abs(np.diff(raw, n=2)))) * _TO_SD
    return _Trace(time, raw, smooth, weight, rest, top, noise, jumps)


def _without_spikes(values: np.ndarray) -> np.ndarray:
    """Return the median of each sample and its two neighbours."""
    before, after = np.r_[values[:1], values[:-1]], np.r_[values[1:], values[-1:]]
    low, high = np.minimum(before, after), np.maximum(before, after)
    return np.clip(values, low, high)


def _weighted_median(values: np.ndarray, weight: np.ndarray) -> float:
    if not len(values):
        return float("nan")
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order[np.searchsorted(total, total[-1] / 2)]])


def _runs(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the first sample of each run of true, and the sample past it."""
    edge = np.diff(np.r_[False, mask, False].astype(np.int8))
    return np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)


def _until(trace: _Trace, at: np.ndarray) -> np.ndarray:
    return trace.time[np.minimum(at, len(trace.time) - 1)]


def _under_pressure(trace: _Trace) -> tuple[np.ndarray, np.ndarray]:
    """Return the stretches under pressure, sags and blips left out."""
    first, past = _runs(trace.pressure >= trace.level(_HIGH))
    if len(first) > 1:
        gap_s = trace.time[first[1:]] - trace.time[past[:-1] - 1]
        lowest = np.minimum.reduceat(trace.pressure, np.c_[past[:-1], first[1:]].ravel())[::2]
        apart = (gap_s >= _BLIP_S) & ((lowest <= trace.level(_LOW)) | (gap_s >= _SAG_S))
        first, past = first[np.r_[True, apart]], past[np.r_[apart, True]]
    lasts = (_until(trace, past) - trace.time[first] >= _BLIP_S) | (past - first >= _TOP_N)
    return first[lasts], past[lasts]


def _hold(trace: _Trace, first: np.ndarray, past: np.ndarray) -> int | None:
    """Return which stretch is that of fusing and cooling: the first long one behind another and a time without.

    The last stretch lasts until the pressure is gone: there are procedures that lower it for the cooling.
    """
    if len(first) < 2:
        return None
    end = past.copy()
    end[-1] = _release(trace, int(first[-1]))
    lasts = _until(trace, end) - trace.time[first]
    let_down = np.r_[0.0, trace.time[first[1:]] - _until(trace, past[:-1])]
    lasts[let_down < _BLIP_S] = 0.0
    lasts[0] = 0.0
    return int(np.flatnonzero(lasts >= _OF_LONGEST * lasts.max())[0]) if lasts.max() > 0 else None


def _no_hold(trace: _Trace, first: np.ndarray, past: np.ndarray) -> str:
    end = "the curve ends under pressure" if len(past) and past[-1] == len(trace.time) else "it ends without pressure"
    return f"only {len(first)} stretch under pressure is seen, and {end}: no soak between bead-up and fusing"


def _release(trace: _Trace, start: int) -> int:
    """Return the sample at which the pressure is gone for good, or the number of samples where it is kept."""
    first, past = _runs(trace.pressure[start:] < trace.level(_GONE))
    gone = (_until(trace, past + start) - trace.time[first + start] >= _RELEASE_S) | (past + start == len(trace.time))
    return int(first[gone][0] + start) if gone.any() else len(trace.time)


def _measured(trace: _Trace, bead: tuple[int, int], low: int) -> Phases:
    drop = _Edge(*trace.crossing(bead[1], trace.level(_HIGH)), bead[1])
    release = _release(trace, low)
    fused = trace.middle(low, release)
    remarks: list[str] = []
    foot, shoulder = _ramp(trace, drop.at, low, fused=fused)
    spans: dict[str, Span] = {}
    if foot is None:
        remarks.append("the pressure is never gone before the fusing: heater removal and ramp are not seen")
    else:
        spans["ramp"] = _span(trace, foot, shoulder)
        spans["without pressure"] = _span(trace, drop, foot)
        spans |= _soak(trace, drop, foot, remarks)
    if release < len(trace.time):
        end = _Edge(*trace.crossing(release, trace.level(_GONE)), release)
        spans["cooling"] = _span(trace, shoulder, end)
    else:
        kept = (trace.time[-1] - shoulder.when) / 60
        remarks.append(f"the curve ends under pressure: cooling lasted {kept:.1f} min or more")
    moved = [name for name, span in spans.items() if np.isnan(span.seconds)]
    if moved:
        remarks.append(f"the clock was moved: {' and '.join(moved)} cannot be told")
    remarks += _not_held(trace, shoulder.at, release, fused=fused)
    heated = (float(trace.time[bead[0]]), drop.when + spans["soak"].seconds if "soak" in spans else np.nan)
    told = {name: span for name, span in spans.items() if name not in moved}
    return Phases(told, trace.middle(*bead), fused, heated, tuple(remarks))


def _not_held(trace: _Trace, start: int, release: int, *, fused: float) -> list[str]:
    told = []
    step = np.diff(trace.time[start : release + 1])
    low_s = float(step[trace.pressure[start:release][: len(step)] < _SHOULDER * fused].sum())
    if low_s >= _SAG_S:
        told.append(f"{low_s / 60:.1f} min of the cooling stood below {_SHOULDER:.0%} of the pressure of the fusing")
    if (trace.pressure[release:] >= trace.level(_HIGH)).sum() >= _TOP_N:
        told.append("behind its release the pressure was applied once more")
    return told


def _ramp(trace: _Trace, drop: int, low: int, *, fused: float) -> tuple[_Edge | None, _Edge]:
    """Return where the last rise to the fusing pressure begins (None: there is none), and where it ends."""
    foot, shoulder = (trace.rest + share * (fused - trace.rest) for share in (_FOOT, _SHOULDER))
    reached = low + int(np.argmax(trace.pressure[low:] >= shoulder))
    t1, open1 = trace.crossing(reached, shoulder)
    below = np.flatnonzero(trace.pressure[drop : reached + 1] < foot)
    if not len(below):
        return None, _Edge(t1, open1, reached)
    rising = drop + int(below[-1]) + 1
    t0, open0 = trace.crossing(rising, foot)
    more = (t1 - t0) * _FOOT / (_SHOULDER - _FOOT)
    blur = _SEEN * trace.noise * (t1 - t0) / (shoulder - foot)  # noise moves a crossing by itself over the slope
    return _Edge(t0 - more, open0 + blur, rising), _Edge(t1 + more, open1 + blur, reached)


def _soak(trace: _Trace, drop: _Edge, foot: _Edge, remarks: list[str]) -> dict[str, Span]:
    """Return soak and heater removal, told apart where the plates were kept in contact by a pressure that is seen."""
    whole = foot.when - drop.when
    if whole < _LEAST_SOAK_S:
        remarks.append(f"the pressure was let down for {whole:.0f} s only: no soak without pressure is seen")
        return {}
    part = slice(drop.at, foot.at)
    p, t = trace.pressure[part], trace.time[part]
    contact = _weighted_median(p, trace.weight[part])
    least = max(2 * _SEEN * trace.noise, _SEEN_SHARE * (trace.top - trace.rest))
    if contact - trace.rest <= least:
        remarks.append("no contact pressure is seen in the soak: soak and heater removal cannot be told apart")
        return {}
    level = trace.rest + 0.5 * (contact - trace.rest)
    first, past = _runs(p >= level)
    lasts = t[np.minimum(past, len(t) - 1)] - t[first] >= max(_CONTACT_S, _CONTACT * whole)
    last = int(past[lasts][-1]) if lasts.any() else len(p)
    if last >= len(p):
        remarks.append("the pressure rises from the contact of the soak: heater removal is not seen")
        return {}
    when, open_s = trace.crossing(drop.at + last, level)
    away = _Edge(when, open_s, drop.at + last)
    return {"soak": _span(trace, drop, away), "removal": _span(trace, away, foot)}


def _span(trace: _Trace, start: _Edge, end: _Edge) -> Span:
    """Return the time between two edges: NaN where the clock was moved between them."""
    moved = ((trace.jumps >= start.at) & (trace.jumps <= end.at)).any()
    finest = float(np.min(np.diff(np.unique(trace.time)), initial=np.inf))  # of times that are written coarsely
    open_s = max(start.open_s, finest) + max(end.open_s, finest)
    return Span(np.nan if moved else end.when - start.when, open_s)
