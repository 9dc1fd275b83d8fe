"""Which values a column of the hand-over may hold, with what each of them means.

`asbuilt.tables` names the domain of a column; whoever writes a dictionary of the tables takes its values from here.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from asbuilt import look, outcome


@dataclass(frozen=True)
class Words:
    """A closed list: each word with its meaning."""

    meanings: Mapping[str, str]

    def say(self) -> str:
        """Say what each word means.

        >>> Words({"gauge": "as the machine shows it", "interfacial": "at the melt face"}).say()
        'gauge: as the machine shows it; interfacial: at the melt face'
        """
        return "; ".join(f"{word}: {meaning}" for word, meaning in self.meanings.items())


@dataclass(frozen=True)
class Span:
    """Numbers from `low` to `high`, both included; an infinite one is open."""

    low: float
    high: float

    def say(self) -> str:
        """Say from where to where.

        >>> Span(0.0, 1.0).say(), Span(0.0, float("inf")).say()
        ('from 0 to 1', 'never negative')
        """
        if self.low == 0.0 and self.high == float("inf"):
            return "never negative"
        return f"from {self.low:g} to {self.high:g}"


DOMAINS: Mapping[str, Words | Span] = {
    "verdict": Words(
        {
            look.IN_WINDOW: "inside its window",
            look.OUT_OF_WINDOW: "outside its window",
            look.CANNOT_TELL: "what is known decides neither way",
            look.NOT_RECORDED: "the record does not hold it",
            look.NO_WINDOW: "no window applies",
        }
    ),
    "placed_by": Words(
        {
            "survey": "measured on the pipe: an as-laid shot, or as found later",
            "fix": "its own recorded fix",
            "tally": "pipe lengths alone, no fix of its own",
            "fix+tally": "fixes and pipe lengths together",
            "unplaced": "no place could be found",
        }
    ),
    "joint_kind": Words(
        {
            "production": "a joint of the line",
            "tie-in": "it closes two strings",
            "trial": "made to try machine or operator, not in the line",
            "fitting": "a fitting is joined",
        }
    ),
    "opinion": Words(
        {
            "fix": "where the machine stood when it was recorded",
            "projection": "foot of the fix on the leg chosen for it",
            "adjusted": "fix, order and pipe lengths together",
            "alternative leg": "the second likeliest place on the lines",
            "as-laid shot": "measured on the pipe in the trench",
            "as found": "measured on the pipe where it was laid bare again",
        }
    ),
    "gap_kind": Words(
        {
            "between joints": "records are missing between two neighbours",
            "before the first joint": "from the start of the line on",
            "after the last joint": "up to the end of the line",
            "records not placed": "joints without a place were made here",
            "not yet recorded": "the line is still being built",
        }
    ),
    "outcome": Words(
        {
            outcome.JOINT: "it is a joint of the line",
            outcome.DUPLICATE: "it says the same as another row",
            outcome.SUPERSEDED: "the joint was cut out and re-made",
            outcome.TRIAL: "it is a trial joint",
            outcome.SET_ASIDE: "it could not become a joint",
        }
    ),
    "limit_status": Words(
        {
            "project": "stated by the project",
            "read": "read in its source by the writers of this tool",
            "second-hand": "quoted by another source",
            "from memory": "to be confirmed against the source",
            "the writers' judgement": "of the writers of this tool, no source",
        }
    ),
    "length_kind": Words(
        {
            "grid": "in the plane of the CRS",
            "ground": "grid length by a stated factor",
            "geodesic": "on the ellipsoid",
            "slope": "in space, along the design levels",
        }
    ),
    "pressure_kind": Words({"gauge": "as the machine shows it", "interfacial": "at the melt face"}),
    "extent_source": Words(
        {
            "route.toml": "from and to are stated",
            "tie-ins": "the joints that close it",
            "joints": "its outermost joints",
        }
    ),
    "laying_method": Words(
        {
            "pulled in": "fused at one place and pulled away",
            "strung beside trench": "fused on the bank and moved",
            "in trench": "fused where it lies",
            "bore": "pulled through without a trench",
        }
    ),
    "decision": Words(
        {
            "accept as is": "the joint, gap or row stays as it is",
            "repair": "to be put right; open until it is accepted",
            "cut out and re-make": "to be replaced by another joint; open until its record comes",
            "position confirmed": "its place was looked into and holds",
            "more information": "nothing is decided yet",
        }
    ),
    "decision_state": Words(
        {
            "current": "made on the verdicts and values as they are",
            "stale": "verdicts or values have changed since: it closes nothing",
            "not tied": "it states no basis, so a change would not be seen",
            "superseded": "a later decision took its place",
            "closes nothing": "it holds, and what is outstanding is another thing, such as a finding",
        }
    ),
    "mark_rank": Span(1, 3),
    "probability": Span(0.0, 1.0),
    "latitude": Span(-90.0, 90.0),
    "longitude": Span(-180.0, 180.0),
    "bearing": Span(0.0, 360.0),
    "crossing": Span(0.0, 90.0),
    "not_negative": Span(0.0, float("inf")),
}
