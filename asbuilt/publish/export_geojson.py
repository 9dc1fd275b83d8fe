"""GeoJSON by RFC 7946: WGS 84, longitude before latitude, one file a layer."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import shapely

from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.export_layers import Layer
from asbuilt.publish.in_wgs84 import geometries_in_wgs84, way_to_wgs84

_DECIMALS = 8  # of a degree: a millimetre


def write_geojson(layers: Iterable[Layer], as_built: AsBuilt, folder: Path) -> None:
    """Write each layer to a file of its own. A joint without a place has no geometry: null, as the standard says."""
    says = f"{as_built.title.name}, revision {as_built.title.revision}. Places are in {way_to_wgs84(as_built)}."
    for layer in layers:
        text = _collection(layer, as_built, " ".join([layer.table.says, says, *CAUTIONS]))
        (folder / f"{layer.name}.geojson").write_text(text, encoding="utf-8", newline="\n")


def _collection(layer: Layer, as_built: AsBuilt, description: str) -> str:
    """Write one feature a line, so that a difference between two revisions can be read."""
    shapes = geometries_in_wgs84(layer.geometry, as_built)
    rows = zip(*layer.values(), strict=True)
    ids = layer.frame[layer.table.names[0]]
    features = [
        json.dumps(
            {
                "type": "Feature",
                "id": f"{layer.name}/{number}" if layer.table.names[0] not in ("joint_id", "gap_id") else name,
                "properties": dict(zip(layer.names.values(), row, strict=True)),
                "geometry": _geometry(shape),
            },
            ensure_ascii=False,
            allow_nan=False,
        )
        for number, (name, row, shape) in enumerate(zip(ids, rows, shapes, strict=True), start=1)
    ]
    head = json.dumps({"type": "FeatureCollection", "description": description}, ensure_ascii=False)
    return "".join([head[:-1], ', "features": [\n', ",\n".join(features), "\n]}\n"])


def _geometry(shape: Any) -> dict[str, Any] | None:
    if shape is None:
        return None
    places = shapely.get_coordinates(shape).round(_DECIMALS).tolist()
    return {"type": shape.geom_type, "coordinates": places[0] if shape.geom_type == "Point" else places}
