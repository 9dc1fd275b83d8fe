"""[window.visual]: the words for what the eye saw at a joint."""

from typing import Self

from pydantic import ConfigDict, Field, model_validator

from asbuilt.settings.parts import OneOrMore, Part


class VisualWords(Part):
    """Which words of the records pass a joint and which reject it, compared without case. In the file: pass, fail."""

    model_config = ConfigDict(populate_by_name=False)

    passed: OneOrMore = Field(default=(), alias="pass")
    fail: OneOrMore = ()

    @model_validator(mode="after")
    def _each_word_means_one_thing(self) -> Self:
        passed, failed = ({plain(word) for word in words} for words in (self.passed, self.fail))
        if not passed | failed:
            raise ValueError('words for pass and fail, such as pass = ["ok"] and fail = ["reject"]')
        if "" in passed | failed:
            raise ValueError("words that are not empty: a joint without a word was not looked at")
        if both := sorted(passed & failed):
            raise ValueError(f"each word in one of pass and fail, found {', '.join(both)} in both")
        return self


def plain(word: str) -> str:
    """Return a word, or a name, as it is compared: without case, and with single spaces.

    >>> plain("  Not  OK ")
    'not ok'
    """
    return " ".join(word.split()).casefold()
