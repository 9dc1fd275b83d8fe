"""The frame of the time-chainage chart: where a chainage and a day lie, with axes, calendar and the strip of the route.

Chainage runs to the right, time runs down: a crew that goes fast draws a flat line. The length covered stands beside it
on the same time axis.
"""

from dataclasses import dataclass

import numpy as np

from asbuilt.progress.calendar import began, day_of
from asbuilt.progress.figures import Figures
from asbuilt.progress.svg import HAIR, INK, PAPER, QUIET, SHADE, box, element, line, text
from asbuilt.progress.work import bores

WIDTH, TOP, LEFT = 1200.0, 176.0, 112.0
_PLOT, _BESIDE_LEFT, _BESIDE = 760.0, 930.0, 240.0
_BETWEEN_LINES = 24.0
_STRIP = 26.0  # height of the strip of the route
_DAY_MOST, _DAY_LEAST = 16.0, 0.4  # pixels a day
_TALLEST = 560.0
_LABELS = 9  # stations along the axis, about


@dataclass(frozen=True)
class Frame:
    """Where things lie: `spans` holds for each line its chainages and the x of its two ends."""

    spans: dict[str, tuple[float, float, float, float]]
    first: float
    last: float
    per_day: float
    whole_m: float

    @property
    def bottom(self) -> float:
        """The foot of the plot."""
        return TOP + (self.last - self.first) * self.per_day

    @property
    def right(self) -> float:
        """The right edge of the plot."""
        return LEFT + _PLOT

    def x(self, name: str, chainage: np.ndarray) -> np.ndarray:
        """Return the x of chainages of a line, shape (n,)."""
        start, end, left, right = self.spans[name]
        return np.asarray(left + (np.asarray(chainage) - start) / max(end - start, 1e-9) * (right - left))

    def y(self, day: np.ndarray) -> np.ndarray:
        """Return the y of moments, in days, shape (n,); a whole number is the midnight that a day begins with."""
        return np.asarray(TOP + (np.asarray(day) - self.first) * self.per_day)

    def beside(self, length_m: np.ndarray) -> np.ndarray:
        """Return the x of a covered length in the curve beside, shape (n,)."""
        return np.asarray(_BESIDE_LEFT + np.asarray(length_m) / max(self.whole_m, 1e-9) * _BESIDE)


def frame_of(found: Figures) -> Frame:
    """Return the frame: all lines of the route, from the first day of work or plan to the last of plan or forecast."""
    work = found.work
    lines = work.tables["alignment"]
    ends = lines[["line", "start_chainage_m", "end_chainage_m"]].to_numpy(object)
    whole = float(sum(end - start for _, start, end in ends))
    scale = (_PLOT - _BETWEEN_LINES * (len(ends) - 1)) / whole
    spans, left = {}, LEFT
    for name, start, end in ends:
        right = left + float(end - start) * scale
        spans[str(name)] = (float(start), float(end), left, right)
        left = right + _BETWEEN_LINES
    worked = found.days["day"].to_numpy(float)
    days = [
        *worked[worked >= (began(worked) if len(worked) else 0.0)],
        *found.plan.pieces["day"],
        *(f.p80 for f in found.forecasts),
        work.evening,
    ]
    days = [float(day) for day in days if np.isfinite(day)]
    first, last = min(days), max(days) + 1
    per_day = float(np.clip(_TALLEST / (last - first), _DAY_LEAST, _DAY_MOST))
    return Frame(spans, first, last, per_day, whole)


def drawn_frame(found: Figures, frame: Frame) -> str:
    """Return what lies under the lines: days, stations, bores, and the strip of the route on top."""
    return _days(found, frame) + _stations(found, frame) + _beside(found, frame) + _strip(found, frame)


def _days(found: Figures, frame: Frame) -> str:
    """Return the days: those without work shaded, weeks ruled and dated, holidays and weather days marked."""
    days = np.arange(frame.first, frame.last)
    calendar, high = found.work.calendar, frame.per_day
    tops = frame.y(days)
    idle = ~calendar.in_week(days) | calendar.is_off(days)
    parts = [box(LEFT, y, _PLOT, high, fill=SHADE) for y in tops[idle]]
    parts += [box(_BESIDE_LEFT, y, _BESIDE, high, fill=SHADE) for y in tops[idle]]
    for word, here in (("holiday", calendar.is_off(days)), ("weather", calendar.is_weather(days))):
        parts += [text(LEFT - 6, y + high / 2 + 4, word, class_="small end") for y in tops[here]]
    step = 7 if frame.per_day * 7 >= 20 else 28
    marked = days[(days + 3) % 7 == 0][:: step // 7]
    for day, y in zip(marked, frame.y(marked), strict=True):
        parts.append(line(LEFT, y, frame.right, y, stroke=HAIR))
        parts.append(line(_BESIDE_LEFT, y, _BESIDE_LEFT + _BESIDE, y, stroke=HAIR))
        parts.append(text(LEFT - 8, y + 5, f"{day_of(day):%a %-d %b}", class_="end"))
    return "".join(parts)


def nice_step(span: float, parts: int) -> float:
    """Return a round step that parts a span about so often.

    >>> nice_step(4368, 9), nice_step(95, 9)
    (500.0, 10.0)
    """
    raw = span / parts
    power = 10.0 ** np.floor(np.log10(raw))
    return float(power * next(f for f in (1, 2, 5, 10) if f * power >= raw * 0.9))


def _stations(found: Figures, frame: Frame) -> str:
    """Return the ruled stations of each line with their labels above the strip."""
    unit, parts = found.work.unit.metres, []
    step = nice_step(frame.whole_m / unit, _LABELS) * unit
    for name, (start, end, left, right) in frame.spans.items():
        at = np.arange(np.ceil(start / step - 1e-9) * step, end + 1e-6, step)
        labels = found.work.stationing[name].labels(at) if name in found.work.stationing else [f"{c:.0f}" for c in at]
        for x, label in zip(frame.x(name, at), labels, strict=True):
            parts.append(line(x, TOP, x, frame.bottom, stroke=HAIR))
            parts.append(text(x, TOP - _STRIP - 14, str(label).partition(".")[0], class_="middle"))
        parts.append(box(left, TOP, right - left, frame.bottom - TOP, fill="none", stroke=QUIET))
        if len(frame.spans) > 1:
            parts.append(text(left, TOP - _STRIP - 34, name, class_="strong"))
    return "".join(parts)


def _beside(found: Figures, frame: Frame) -> str:
    unit = found.work.unit
    step = nice_step(frame.whole_m / unit.metres, 3) * unit.metres
    at = np.arange(0, frame.whole_m + 1e-6, step)
    parts = [box(_BESIDE_LEFT, TOP, _BESIDE, frame.bottom - TOP, fill="none", stroke=QUIET)]
    parts.append(text(_BESIDE_LEFT, TOP - _STRIP - 34, f"Length covered ({unit.name})", class_="strong"))
    for x, c in zip(frame.beside(at), at, strict=True):
        parts.append(line(x, TOP, x, frame.bottom, stroke=HAIR))
        parts.append(text(x, TOP - _STRIP - 14, f"{c / unit.metres:,.0f}", class_="middle"))
    return "".join(parts)


def _strip(found: Figures, frame: Frame) -> str:
    """Return the route as a bar above the plot: covered is filled, gaps are open, bores hatched all the way down."""
    parts, top = [], TOP - _STRIP - 4
    closed = found.work.closed
    for name, (_, _, left, right) in frame.spans.items():
        here = closed[(closed["line"] == name).to_numpy() & (closed["covered_m"] > 0).to_numpy()]
        parts.append(box(left, top, right - left, _STRIP, fill=PAPER, stroke=INK))
        for low, high in merged(*(frame.x(name, here[side].to_numpy(float)) for side in ("low", "high"))):
            parts.append(box(low, top, high - low, _STRIP, fill="#BBBBBB"))
        for low, high in bores(found.work.tables["strings"], found.work.plan, name):
            x1, x2 = frame.x(name, np.array([low, high]))
            parts.append(box(x1, top, x2 - x1, frame.bottom - top, fill="url(#hatch)"))
            parts.append(text((x1 + x2) / 2, top + 18, "bore", class_="middle halo small"))
        parts.append(box(left, top, right - left, _STRIP, fill="none", stroke=INK))
    return "".join(parts)


def merged(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return bars that touch within a tenth of a pixel as one, shape (k, 2); they come in order."""
    if not len(low):
        return np.zeros((0, 2))
    opens = np.append(True, low[1:] - high[:-1] > 0.1)
    closes = np.append(opens[1:], True)
    return np.column_stack([low[opens], high[closes]])


def hatch() -> str:
    """Return the pattern that bores are filled with."""
    stroke = element("path", d="M0 8L8 0", stroke=QUIET, stroke_width=1, fill="none")
    return element("pattern", stroke, id="hatch", width=8, height=8, patternUnits="userSpaceOnUse")
