"""How a joint was made and how its fusion ended, by the words of its record, and what the code of a fitting says."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.fields import BUTT, ELECTROFUSION, NOT_BUTT
from asbuilt.look import NO_WINDOW
from asbuilt.sentence import several

CODE = 24  # digits: ISO 13950 (second-hand: a trade page that quotes a guideline)
VOLTS, SECONDS = slice(11, 13), slice(18, 21)  # places 12-13 and 19-21 of the code (second-hand: the same)
MOST_V = 48.0  # a control unit gives no more (second-hand: the same)
# Words of control units (common practice, no source); anything else cannot be told.
ENDED = (
    r"(?:(?:fusion|cycle|weld(?:ing)?)[ :]+)?(?:ok|o\.k\.|completed?|normal(?: end)?|good|pass(?:ed)?|finished"
    r"|no (?:error|fault)s?|success(?:ful)?|end of fusion)"
)
BROKEN = (
    r".*\b(?:abort(?:ed)?|interrupt(?:ed|ion)?|error|fault|fail(?:ed|ure)?|stopped|incomplete|cancell?ed|short circuit"
    r"|open circuit|power (?:cut|loss)|under ?voltage|over ?voltage|not ok|not completed?)\b.*"
)
_LEAST_V = 8.0  # fewer digits make no voltage of a fitting (the writers' judgement)
_NEVER = {"saddle": r"saddle|tapping", "mechanical": r"mechanical|compression", "flange": r"flange"}


def how_joined(rows: pd.DataFrame) -> pd.Series:
    """Return, on the index of the rows (method): butt, electrofusion, socket, saddle, mechanical or flange.

    A saddle or a mechanical fitting is one whatever it is fused by; a socket that is electrofused is a coupler.
    """
    method = rows["method"].fillna("").astype("str").str.casefold()
    electro = method.str.contains(ELECTROFUSION)
    how = pd.Series("butt", index=rows.index, dtype=object)
    how[method.str.contains("socket")] = "socket"
    how[electro] = "electrofusion"
    for name, words in _NEVER.items():
        how[method.str.contains(words)] = name
    how[method.str.contains("butt")] = "butt"
    return how


def said_of_unknown(rows: pd.DataFrame) -> Iterator[str]:
    """Yield a statement for each word in `rows` (method) that is no method known here: such joints pass for butt."""
    method = rows["method"].dropna().astype("str")
    known = method.str.contains(rf"{BUTT}|{NOT_BUTT}", case=False)
    for word, n in method[~known & (method.str.strip() != "")].value_counts().sort_index().items():
        yield (
            f"{word!r} is no method that this tool knows (butt, EF or electrofusion, coupler, socket, saddle,"
            f" mechanical, flange): {several(n, 'joint')} judged as butt fusion."
        )


def texts(values: pd.Series) -> pd.Series:
    """Return a column as texts without space about them; nothing is an empty text."""
    return values.fillna("").astype("str").str.strip()


def digits(own: pd.DataFrame) -> pd.Series:
    """Return each fitting_code without what scanners and people put between its digits."""
    return texts(own["fitting_code"]).str.replace(r"[\s\-./]", "", regex=True)


def of_code(own: pd.DataFrame, places: slice) -> np.ndarray:
    """Return the number at some places of each fitting_code of 24 digits, shape (n,); NaN for any other."""
    found = digits(own)
    whole = found.str.fullmatch(rf"\d{{{CODE}}}")
    return np.asarray(pd.to_numeric(found.str[places].where(whole), errors="coerce"), dtype=float)


def code_volts(own: pd.DataFrame) -> np.ndarray:
    """Return the nominal voltage in each fitting code, shape (n,); NaN where none is, or none that can be."""
    volts = of_code(own, VOLTS)
    return np.where((volts >= _LEAST_V) & (volts <= MOST_V), volts, np.nan)


def not_judged(how: pd.Series) -> pd.DataFrame:
    """Return, for the rows (of `how_joined`) that no window applies to, the columns of `windows.Judged.joints`."""
    others = how[~how.isin(("butt", "electrofusion"))]
    reasons = [(f"{name}: recorded, not judged",) for name in others]
    return pd.DataFrame(
        {
            "fusion_verdict": NO_WINDOW,
            "recorded_n": 0,
            "procedure_n": 0,
            "reasons": pd.Series(reasons, index=others.index, dtype=object),
        },
        index=others.index,
    )


def said_of_others(how: pd.Series) -> Iterator[str]:
    """Yield one statement on the rows (of `how_joined`) that are recorded and not judged."""
    counts = how[~how.isin(("butt", "electrofusion"))].value_counts().sort_index()
    if len(counts):
        each = ", ".join(f"{n} {name}" for name, n in counts.items())
        yield f"{counts.sum()} joints are recorded and not judged, as no window applies to them: {each}."
