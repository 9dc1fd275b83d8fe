"""Marks of a drawing as SVG text: a few elements, numbers to a tenth of a pixel, every text escaped."""

import html
from collections.abc import Iterable

import numpy as np

INK, QUIET, HAIR, SHADE, PAPER = "#1A1A1A", "#4D4D4D", "#D2D0CA", "#F4F2EC", "#FFFFFF"


def number(value: float) -> str:
    """Write a coordinate.

    >>> number(12.04), number(-0.01), number(3.26)
    ('12', '0', '3.3')
    """
    return f"{round(float(value), 1) + 0.0:.1f}".removesuffix(".0")


def element(tag: str, inner: str = "", /, **attributes: object) -> str:
    """Return an element; `inner` is markup already.

    In names of attributes `_` stands for `-`; numbers are written short, texts escaped.

    >>> element("line", x1=0, x2=10.0, stroke_width=2)
    '<line x1="0" x2="10" stroke-width="2"/>'
    """
    told = "".join(f' {name.rstrip("_").replace("_", "-")}="{_value(value)}"' for name, value in attributes.items())
    return f"<{tag}{told}>{inner}</{tag}>" if inner else f"<{tag}{told}/>"


def _value(value: object) -> str:
    return number(float(value)) if isinstance(value, float | np.floating) else html.escape(str(value), quote=True)


def text(x: float, y: float, words: str, **attributes: object) -> str:
    """Return words at a place; their foot stands there."""
    return element("text", html.escape(words), x=float(x), y=float(y), **attributes)


def line(x1: float, y1: float, x2: float, y2: float, **attributes: object) -> str:
    """Return a straight line."""
    return element("line", x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), **attributes)


def box(x: float, y: float, width: float, height: float, **attributes: object) -> str:
    """Return a rectangle."""
    return element("rect", x=float(x), y=float(y), width=float(width), height=float(height), **attributes)


def path(pieces: Iterable[np.ndarray]) -> str:
    """Return the data of a path through pieces of points, each of shape (n, 2).

    Points closer than half a pixel are one: a line of a hundred thousand joints is drawn with a few thousand.

    >>> path([np.array([[0.0, 0.0], [0.1, 0.1], [10.0, 5.0]])])
    'M0 0L10 5'
    """
    return "".join(f"M{'L'.join(_thinned(piece))}" for piece in pieces if len(piece) > 1)


def _thinned(piece: np.ndarray) -> list[str]:
    grid = np.round(piece * 2) / 2
    new = np.append(True, (np.diff(grid, axis=0) != 0).any(axis=1))
    kept = grid[new]
    if len(kept) == 1:
        kept = np.vstack([kept, kept + np.array([0.5, 0.0])])  # else a single point would draw nothing
    return [f"{number(x)} {number(y)}" for x, y in kept]


def escaped(words: str) -> str:
    """Return text as HTML or SVG, for element and attribute alike."""
    return html.escape(words, quote=True)
