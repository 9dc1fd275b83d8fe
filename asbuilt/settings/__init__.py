"""What `route.toml` asks for, checked whole and frozen."""

from asbuilt.settings.context import ContextSource, MapOptions
from asbuilt.settings.eye import VisualWords, plain
from asbuilt.settings.load import load
from asbuilt.settings.model import AlignmentSource, Placing, Settings, StringSpec
from asbuilt.settings.parts import SERIAL, ColumnSpec, Limit
from asbuilt.settings.paths import matching
from asbuilt.settings.sources import Corrections, MachinesSource, PeopleSource, RecordSource, SurveySource, TallySource
from asbuilt.settings.traces import TraceSource

__all__ = [
    "SERIAL",
    "AlignmentSource",
    "ColumnSpec",
    "ContextSource",
    "Corrections",
    "Limit",
    "MachinesSource",
    "MapOptions",
    "PeopleSource",
    "Placing",
    "RecordSource",
    "Settings",
    "StringSpec",
    "SurveySource",
    "TallySource",
    "TraceSource",
    "VisualWords",
    "load",
    "matching",
    "plain",
]
