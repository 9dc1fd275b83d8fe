"""What `route.toml` asks for, checked whole and frozen."""

from asbuilt.settings.load import load
from asbuilt.settings.model import AlignmentSource, Corrections, RecordSource, Settings
from asbuilt.settings.parts import SERIAL, ColumnSpec, Limit, matching

__all__ = [
    "SERIAL",
    "AlignmentSource",
    "ColumnSpec",
    "Corrections",
    "Limit",
    "RecordSource",
    "Settings",
    "load",
    "matching",
]
