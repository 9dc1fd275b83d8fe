"""Opens a GeoPackage in QGIS without a screen, draws it, and prints what QGIS made of it as JSON.

Run by `test_geopackage.py` with the Python that has `qgis` (Debian: python3-qgis), never imported by it:
`python3 tests/in_qgis.py FILE.gpkg PICTURE.png SCALE EASTING NORTHING`. A scale of 0 shows everything.
"""

import json
import sqlite3
import sys
import tempfile
from collections import Counter
from contextlib import closing

ORDER = ("joints", "gaps", "chainage_marks", "positions", "ties", "strings", "test_sections", "pipes", "alignment")


def main(path, picture, scale, easting, northing):
    from qgis.core import (  # noqa: PLC0415 - only the Python that runs this has it
        QgsApplication,
        QgsExpressionContext,
        QgsExpressionContextUtils,
        QgsMapRendererParallelJob,
        QgsMapSettings,
        QgsRectangle,
        QgsVectorLayer,
    )
    from qgis.PyQt.QtCore import QSize  # noqa: PLC0415
    from qgis.PyQt.QtGui import QColor  # noqa: PLC0415

    app = QgsApplication([], False)
    app.initQgis()
    layers = {name: QgsVectorLayer(f"{path}|layername={name}", name, "ogr") for name in ORDER}
    settings = QgsMapSettings()
    settings.setLayers(list(layers.values()))
    settings.setBackgroundColor(QColor("white"))
    settings.setOutputDpi(96)
    settings.setOutputSize(QSize(1200, 800))
    settings.setDestinationCrs(layers["joints"].crs())
    around = layers["alignment"].extent()
    around.scale(1.1)
    if scale:
        half = [pixels / 96 * 0.0254 * scale / 2 for pixels in (1200, 800)]
        around = QgsRectangle(easting - half[0], northing - half[1], easting + half[0], northing + half[1])
    settings.setExtent(around)
    context = QgsExpressionContext()
    context.appendScope(QgsExpressionContextUtils.mapSettingsScope(settings))  # as the window of the program does
    settings.setExpressionContext(context)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    image.save(picture)
    said = {"layers": {name: told(layer, path) for name, layer in layers.items()}, "colours": colours(image)}
    print(json.dumps(said | {"errors": [error.message for error in job.errors()]}))
    sys.stdout.flush()
    del job, layers, settings, context
    app.exitQgis()


def colours(image):
    """How many pixels are of each colour, without those that are of few."""
    seen = Counter(image.pixel(x, y) & 0xFFFFFF for x in range(image.width()) for y in range(image.height()))
    return {f"#{colour:06X}": many for colour, many in seen.items() if many > 20}


def told(layer, path):
    """What QGIS knows of a layer once its default style was applied; then whether it takes the SLD as well."""
    renderer, labels = layer.renderer(), layer.labeling()
    rules = renderer.rootRule().children() if renderer.type() == "RuleRenderer" else []
    names = [layer.fields().field(i) for i in range(layer.fields().count())]
    return {
        "valid": layer.isValid(),
        "features": layer.featureCount(),
        "crs": layer.crs().authid(),
        "renderer": renderer.type(),
        "rules": [rule.label() for rule in rules],
        "wrong_filters": [
            rule.filterExpression() for rule in rules if rule.filter() and rule.filter().hasParserError()
        ],
        "layers_of_symbols": [sorted({part.layerType() for part in rule.symbol().symbolLayers()}) for rule in rules],
        "labels": labels.type() if labels and layer.labelsEnabled() else "",
        "aliases": {field.name(): field.alias() for field in names},
        "widgets": {field.name(): field.editorWidgetSetup().type() for field in names},
    } | sld(layer, path)


def sld(layer, path):
    """Whether QGIS takes the SLD of the layer, with how many rules of drawing; it replaces the style of the layer."""
    with closing(sqlite3.connect(path)) as base:
        (text,) = base.execute("SELECT styleSLD FROM layer_styles WHERE f_table_name = ?", (layer.name(),)).fetchone()
    with tempfile.NamedTemporaryFile("w", suffix=".sld", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        message, taken = layer.loadSldStyle(file.name)
    rules = layer.renderer().rootRule().children() if layer.renderer().type() == "RuleRenderer" else []
    return {"sld": taken, "sld_says": message, "sld_rules": [rule.label() for rule in rules]}


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4]), float(sys.argv[5]))
