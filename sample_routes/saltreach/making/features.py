"""Fixed features beside the invented main, as a surveyor would list them: what a crew can find again years later."""

from pathlib import Path

import numpy as np
import pandas as pd
from making.laying import locate

# Name, what it is and which point of it was taken, distance along the main and offset from it, + right (metres).
FEATURES = (
    ("Gate post G1", "steel post of the gate at Depot Track, centre", 889.0, -9.2),
    ("Gate post G2", "steel post of the gate at Depot Track, centre", 893.5, 7.6),
    ("Culvert C1", "headwall, middle of its top edge", 922.0, 14.3),
    ("Sign S1", "road sign on a concrete footing, middle of the footing", 951.0, -12.1),
    ("Marker M1", "pipeline marker post, back bank of the creek", 1563.0, -2.5),
    ("Marker M2", "pipeline marker post, ahead bank of the creek", 1647.0, 2.5),
    ("Footbridge B1", "corner of the abutment that is nearest to the main", 1612.0, -21.7),
    ("Fence F1", "strainer post at the corner of the fence", 1585.0, 27.9),
    ("Hydrant H1", "spindle of the hydrant", 2701.0, 11.4),
    ("Fence F2", "strainer post at the corner of the fence", 2762.0, 15.2),
    ("Pole P1", "power pole, the face to the main at ground level", 2831.0, 24.4),
    ("Chamber V1", "middle of the lid", 2964.0, 13.0),
    ("Fence F3", "strainer post at the corner of the fence", 4301.0, 22.6),
    ("Marker M3", "pipeline marker post", 4341.0, -3.0),
    ("Valve house R1", "corner that is nearest to the main", 4366.0, 17.8),
)


def write_features(line: np.ndarray, path: Path) -> None:
    """Write the list, to the centimetre, in EPSG:7855."""
    names, words, along, offset = zip(*FEATURES, strict=True)
    easting, northing = locate(line, np.array(along), np.array(offset)).T
    table = pd.DataFrame({"Feature": names, "Description": words, "Easting": easting, "Northing": northing})
    table.to_csv(path, index=False, lineterminator="\n", float_format="%.2f")
