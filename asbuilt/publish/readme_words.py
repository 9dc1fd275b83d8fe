"""What README.txt says of each file: what it is, and how it is read without this tool, when nobody has it anymore."""

from dataclasses import dataclass


@dataclass(frozen=True)
class File:
    """One file of the hand-over: its name, what it is, and how to read it."""

    name: str
    says: str
    how: str


FILES = (
    File(
        "handover.pdf",
        "report for whoever accepts the line, PDF/A: one page that answers, then what it rests on",
        "PDF/A (ISO 19005), fonts inside: any reader of PDF, printed or on a screen.",
    ),
    File(
        "alignment_sheets.pdf",
        "strip maps along the line at a true scale, PDF/A: plan, joints, gaps, strings, tests",
        "As the report. Printed at 100 % the stated scale holds; the scale bar shows whether it does.",
    ),
    File(
        "joint_map.html",
        "interactive map: open it in any browser; one file, {network}",
        "HTML with its scripts inside. Where no browser runs them anymore: the page's text lists every placed joint"
        ' with its position, and the element with the id "record" holds all data as JSON, deflated (RFC 1950) and'
        " written in base64 (RFC 4648).",
    ),
    File(
        "asbuilt.gpkg",
        "OGC GeoPackage (an SQLite file): all layers and tables, for any GIS",
        "OGC 12-128 on SQLite 3, whose file format is published. Any GIS opens the layers; any SQLite shell lists the"
        " tables: SELECT * FROM joints. The tables gpkg_data_columns and gpkg_metadata inside say what each column is."
        " A geometry is a short header and then WKB (OGC 06-103).",
    ),
    File(
        "joint_log.xlsx",
        "joint log as a workbook: joints, checks, gaps, source rows, decisions, and what the words mean",
        "Office Open XML (ISO/IEC 29500): any spreadsheet program. Without one: a ZIP archive of XML, one part a sheet"
        " under xl/worksheets.",
    ),
    File(
        "joint_log.csv",
        "joint log as text: UTF-8, commas; open the workbook where leading zeros matter",
        "RFC 4180 in UTF-8: any editor or spreadsheet program. Read every column as text, or ids lose leading zeros. A"
        " text that a spreadsheet would run as a formula has an apostrophe in front.",
    ),
    File(
        "joint_log.csv-metadata.json",
        "what the columns of joint_log.csv are: kind, unit, meaning, and what they may hold",
        'JSON (RFC 8259) by the W3C\'s "Metadata Vocabulary for Tabular Data" (2015); any editor shows it.',
    ),
    File(
        "joints.gpx",
        "placed joints and ends of gaps as waypoints in WGS 84, for phones and receivers",
        "GPX 1.1, which is XML: most receivers and phone maps import it; any editor shows it.",
    ),
    File(
        "exports/README.txt",
        "what else was asked for and lies in that folder, and how to read it",
        "",
    ),
    File(
        "SHA256SUMS",
        "checksums; check with: sha256sum -c SHA256SUMS",
        "Text. One line a file: its SHA-256 (FIPS 180-4) in hexadecimal, two spaces, its name. What a single program"
        " prints for a file has to be the same.",
    ),
)

AGAIN = (
    "This hand-over was made from a folder: route.toml, which says what the job is, and the files that it names, as"
    " they came. The table build_info of asbuilt.gpkg keeps route.toml as it was, the SHA-256 of each file that was"
    " read, and the versions of the programs.",
    "With that folder and those versions the command asbuilt build FOLDER -o OUT makes the same bytes again, and the"
    " checksums show it; other versions may differ in bytes, and the figures can be compared. Keep the folder with this"
    " one.",
)
REDACTED_AGAIN = (
    "This copy was made from the full record, which is with the owner; it cannot be made again from what is here.",
)
