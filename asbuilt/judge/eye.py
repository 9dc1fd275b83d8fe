"""What the eye saw: a joint that was rejected by eye is out of window, whatever its numbers say."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.judge.added import Added, is_required, no_checks, worded_checks
from asbuilt.judge.finding import Finding
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.outcome import KEPT
from asbuilt.sentence import several
from asbuilt.settings import Settings, plain

_SOURCE = "words of [window.visual] in route.toml"
_NAMED = 8  # so many words are named in a sentence, the others counted


def judge_eye(rows: pd.DataFrame, *, settings: Settings, recorded: frozenset[str]) -> Added:
    """Judge the word that each record has for the look of its joint, as [window.visual] maps it.

    `rows` has visual (None: no word) and outcome; `recorded` are the fields with a column in any source. A word that
    is not mapped cannot be told, and is one finding with all others. Without a mapping nothing is judged. The cause
    of a check says which word was recorded, also where it passes.
    """
    mapped, words = settings.window.visual, rows["visual"]
    is_kept = rows["outcome"].isin(KEPT)
    if mapped is None:
        return Added(no_checks(), statements=tuple(_unmapped(words[is_kept])))
    found = words.map(lambda word: plain(word) if isinstance(word, str) else "").astype(object)
    passed, failed = (found.isin([plain(w) for w in which]).to_numpy() for which in (mapped.passed, mapped.fail))
    verdict = np.full(len(rows), CANNOT_TELL, dtype=object)
    cause = np.array([f"{word!r} is none of the words of [window.visual]" for word in words], dtype=object)
    verdict[passed], verdict[failed] = IN_WINDOW, OUT_OF_WINDOW
    cause[passed] = [f"recorded {word.strip()!r}, a word that passes" for word in words[passed]]
    cause[failed] = [f"rejected by eye: {word!r}" for word in words[failed]]
    bare = (found == "").to_numpy()
    verdict[bare], cause[bare] = NOT_RECORDED, "what the eye saw was not recorded"
    required = is_required("visual", settings, by_default="visual" in recorded)
    said = {"source": _SOURCE, "status": "project", "cause": cause}
    checks = worded_checks(rows.index, "visual", verdict=verdict, required=required, **said)
    return Added(checks, tuple(_unknown(words[(verdict == CANNOT_TELL) & is_kept])))


def _unmapped(words: pd.Series) -> Iterator[str]:
    if words.notna().any():
        yield (
            f"What the eye saw is recorded of {several(int(words.notna().sum()), 'joint')} ({_counted(words)}), and is"
            " not judged: [window.visual] in route.toml says which words pass and which fail."
        )


def _unknown(words: pd.Series) -> Iterator[Finding]:
    if len(words):
        these = "a word" if words.map(plain).nunique() == 1 else "words"
        statement = (  # without a count: whoever shows a finding says of how many joints it is
            f"What the eye saw is recorded in {these} that [window.visual] does not map: {_counted(words)}. Whether it"
            " passed cannot be told."
        )
        yield Finding(statement, words.index.to_numpy(), "visual")


def _counted(words: pd.Series) -> str:
    """Name each word as it was first written, and how many joints have it; a lone word has them all."""
    written = words.dropna().map(lambda word: " ".join(word.split()))
    counts = written.groupby(written.map(plain)).agg(word="first", n="size").rename_axis("key").reset_index()
    counts = counts.sort_values(["n", "key"], ascending=[False, True])[["word", "n"]]
    if len(counts) == 1:
        return repr(counts["word"].iloc[0])
    shown = [f"{word!r} {n:,}" for word, n in counts.head(_NAMED).itertuples(index=False)]
    return ", ".join(shown) + (f" and {len(counts) - _NAMED} more words" if len(counts) > _NAMED else "")
