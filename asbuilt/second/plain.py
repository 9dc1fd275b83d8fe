"""Texts of others as a terminal may show them."""

import re

# Control characters, and marks that turn the direction of writing around.
_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
_LONGEST = 500


def plain_text(text: str) -> str:
    r"""Return a text on one line, of at most 500 characters, with what would not be seen written by its number.

    >>> plain_text("in\x1b[2J window")
    'in[U+001B][2J window'
    """
    shown = _UNSEEN.sub(lambda found: f"[U+{ord(found[0]):04X}]", text[: _LONGEST + 1])
    return shown if len(text) <= _LONGEST else f"{shown[:_LONGEST]} ..."
