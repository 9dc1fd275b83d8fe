"""What `route.toml` asks for, checked whole and frozen."""

from asbuilt.settings.load import load
from asbuilt.settings.model import AlignmentSource, ColumnSpec, Corrections, Limit, RecordSource, Settings

__all__ = ["AlignmentSource", "ColumnSpec", "Corrections", "Limit", "RecordSource", "Settings", "load"]
