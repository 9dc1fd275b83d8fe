"""[decisions]: what named persons decided about joints, gaps, rows that were set aside, and groups of joints."""

from collections.abc import Mapping

from pydantic import Field as Key

from asbuilt.fields import FIELDS, Field
from asbuilt.settings.parts import InsidePath
from asbuilt.settings.sources import RecordSource, TallySource


def _text(name: str, *headings: str) -> Field:
    return Field(name, "text", name, "", headings)


# Headings as the trade commonly writes them (common practice, no source). `station` and `what` are in the list that
# `asbuilt check --outstanding` prints for the people who fill it in: they are known, and not used.
DECISIONS: Mapping[str, Field] = {
    "joint_id": _text("joint_id", "joint", *FIELDS["joint"].headings),
    "gap_id": _text("gap_id", "gap", "gap no"),
    "row_id": _text("row_id", "row", "source row"),
    "finding_id": _text("finding_id", "finding"),
    "station": _text("station", "chainage"),
    "what": _text("what"),
    "basis": _text("basis"),
    "decision": _text("decision", "decided", "disposition"),
    "name": _text("name", "decided by", "by", "engineer", "person"),
    "role": _text("role", "function", "title"),
    "date": Field("date", "time", "date", "", ("decided on", "date of decision", "decision date")),
    "revision": _text("revision", "rev"),
    "reason": _text("reason", "reasons", "because", "justification"),
    "reference": _text("reference", "ref", "document", "document no"),
}


class DecisionsSource(RecordSource):
    """[decisions]: one row a decision. Its columns need no mapping where their headings are common ones."""

    table = "decisions"
    fields = DECISIONS
    named_by = "joint_id"
    must_be_named = False
    idle = TallySource.idle  # a day has no time zone, and nothing of a decision a place
    files: tuple[InsidePath, ...] = Key(default=("decisions.csv",), min_length=1)
