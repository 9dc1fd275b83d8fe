"""handover.pdf: the report for whoever has to accept the line, an archive file (PDF/A) tagged for all readers."""

from pathlib import Path

from asbuilt.as_built import AsBuilt
from asbuilt.publish.report_data import report_data
from asbuilt.publish.typeset import typeset

NAME = "handover.pdf"


def write_report(as_built: AsBuilt, path: Path) -> None:
    """Write the report to `path`, on the paper that `as_built.form` names. The same record gives the same bytes."""
    path.write_bytes(typeset("report.typ", report_data(as_built), moment=as_built.title.as_of))
