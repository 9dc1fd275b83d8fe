"""Joints against the entries of a list: of all entries of one name, the one that fits best decides."""

import re
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.fields import BUTT, ELECTROFUSION
from asbuilt.judge.timing import lost_clocks
from asbuilt.judge.validity import ANY_METHOD, NO, OPEN, QUESTIONS, YES, of_size, on_day
from asbuilt.settings import plain

# What a method is by the words that crews write (common practice, no source); the first that is found counts.
METHODS = {"mechanical": r"flange|mechanical|compression", "electrofusion": ELECTROFUSION, "butt fusion": BUTT}
METHODS |= {"saddle fusion": r"saddle|sidewall|tapping", "socket fusion": r"socket"}
JUDGED = ("butt fusion", "electrofusion")  # the others are recorded, not judged
_SLACK_MM = 0.1  # catalogues round outside diameters of inch sizes to that (common practice, no source)
_PARTS = re.compile(r"[,;/+&\n]|\band\b", re.IGNORECASE)


def methods_of(text: str) -> frozenset[str]:
    """Return the methods that a text names; a word that is not known stands as it is.

    >>> sorted(methods_of("Butt fusion, EF")), sorted(methods_of("hot gas"))
    (['butt fusion', 'electrofusion'], ['hot gas'])
    """
    words = [plain(part) for part in _PARTS.split(text) if part.strip()]
    return frozenset(next((name for name, form in METHODS.items() if re.search(form, w)), w) for w in words)


def method_of(text: str) -> str:
    """Return the method of one joint: the first that its text names, butt fusion where there is none.

    >>> method_of(""), method_of("electrofusion socket"), method_of("Flanged, mechanical")
    ('butt fusion', 'electrofusion', 'mechanical')
    """
    found = next((name for name, form in METHODS.items() if re.search(form, plain(text))), plain(text))
    return found or "butt fusion"


def local_days(rows: pd.DataFrame, zone: ZoneInfo) -> np.ndarray:
    """Return the local day that each row was fused on, datetime64[s]; NaT where it has no time or its clock was lost.

    `rows` has source_file, sheet, source_row, joint, machine and fused_at (UTC); `zone` is that of the route.
    """
    local = rows["fused_at"].dt.tz_localize("UTC").dt.tz_convert(zone).dt.tz_localize(None)
    lost = [label for finding in lost_clocks(rows) for label in finding.rows]
    days = local.mask(rows.index.isin(lost)).to_numpy("datetime64[D]")
    return days.astype("datetime64[s]")  # the coarsest that a frame can hold


def best_entries(asked: pd.DataFrame, entries: pd.DataFrame) -> pd.DataFrame:
    """Return, on the index of `asked`, the entry of its key that fits best, and how it fits.

    `asked` has key, day, diameter (mm), method; `entries` key, place, start, end, low, high, methods (frozenset). Added
    are on_day, on_size, on_method and status, the least of them (NaN where no entry has the key). Of entries that fit
    alike the first counts; of those that do not, the one that fails least, rather by its days, and then the nearest.
    """
    pairs = asked.assign(row=asked.index)[["row", "key", "day", "diameter", "method"]].merge(entries, on="key")
    day, start, end = (pairs[name].to_numpy("datetime64[D]") for name in ("day", "start", "end"))
    diameter, low, high = (pairs[name].to_numpy(float) for name in ("diameter", "low", "high"))
    sizes = of_size(diameter, low, high, slack=_SLACK_MM)
    methods = [_of_method(method, listed) for method, listed in zip(pairs["method"], pairs["methods"], strict=True)]
    told = np.stack([on_day(day, start, end), sizes, np.array(methods, dtype=int)])
    off = np.fmax(_days(start - day), _days(day - end))
    pairs = pairs.assign(**{f"on_{name}": told[k] for k, name in enumerate(QUESTIONS)})
    pairs = pairs.assign(status=told.min(axis=0), fails=(told == NO).sum(axis=0), off=np.fmax(off, 0.0))
    by = {"row": True, "status": False, "fails": True, "on_method": False, "on_size": False, "off": True}
    order = pairs.sort_values(list(by), ascending=list(by.values()), kind="stable")
    best = order.drop_duplicates("row").set_index("row")
    kept = ["place", "start", "end", "low", "high", "methods", "status", *(f"on_{name}" for name in QUESTIONS)]
    return best[kept].reindex(asked.index)


def _days(span: np.ndarray) -> np.ndarray:
    return np.where(np.isnat(span), np.nan, span.astype(float))


def _of_method(method: str, listed: frozenset[str]) -> int:
    """Whether the method is listed; a word that nobody knows may mean it, and no word at all says nothing."""
    if method in listed or listed & ANY_METHOD:
        return YES
    return NO if listed and {method, *listed} <= set(METHODS) else OPEN
