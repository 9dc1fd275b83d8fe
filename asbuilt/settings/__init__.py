"""What `route.toml` asks for, checked whole and frozen."""

from asbuilt.settings.load import load
from asbuilt.settings.model import AlignmentSource, Placing, Settings, StringSpec
from asbuilt.settings.parts import SERIAL, ColumnSpec, Limit, matching
from asbuilt.settings.sources import Corrections, RecordSource, SurveySource, TallySource

__all__ = [
    "SERIAL",
    "AlignmentSource",
    "ColumnSpec",
    "Corrections",
    "Limit",
    "Placing",
    "RecordSource",
    "Settings",
    "StringSpec",
    "SurveySource",
    "TallySource",
    "load",
    "matching",
]
