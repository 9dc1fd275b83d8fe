"""The styles of the layers, in the table that general GIS programs look for them in.

`layer_styles` is in no standard: desktop programs made it their custom, and take the style that is marked as the
default when a layer is opened. Its column types are in capitals, which the GeoPackage standard asks for, and it is
listed last, for some programs show it among the layers.
"""

import sqlite3

from asbuilt import tables
from asbuilt.publish.gpkg_file import add_table, list_attributes
from asbuilt.publish.gpkg_qml import qml
from asbuilt.publish.gpkg_signs import SHEETS
from asbuilt.publish.gpkg_sld import sld

NAME = "layer_styles"
_TABLE = f"""CREATE TABLE {NAME} (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME)"""


def write_styles(base: sqlite3.Connection, stamp: str) -> None:
    """Add one style for each layer, with the as-of time `stamp` as that of its last change."""
    columns = {table.name: table.columns for table in tables.ALL}
    rows = [
        (number, "", "", s.table, "geom", s.table, qml(s, columns[s.table]), sld(s), 1, s.says, "", None, stamp)
        for number, s in enumerate(SHEETS, start=1)
    ]
    add_table(base, _TABLE, rows)
    says = "How each layer is drawn, as QML and SLD; a convention of desktop programs, not of the standard."
    list_attributes(base, NAME, says, stamp)
