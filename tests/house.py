"""The house: which room stands on which floor. A room knows rooms of lower floors only.

Written once, here; `test_house.py` holds the code to it and DEVELOPERS.md to its drawing.
"""

FLOORS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("bedrock", ("errors",)),
    ("vocabulary", ("fields", "tables", "stationing", "quantities", "look", "cautions", "outcome")),
    ("words and windows", ("window", "as_built", "map_tables", "judge.finding")),
    ("instruments", ("sentence", "alignment", "curvature", "crs", "procedures", "handbook.published")),
    ("instruments: receivers", ("receivers",)),
    ("settings: kinds of value", ("settings.parts",)),
    ("settings: sources", ("settings.sources", "settings.eye", "settings.context")),
    ("settings: curves", ("settings.traces",)),
    ("settings", ("settings.model",)),
    ("settings, checked", ("settings.load",)),
    ("read: files and cells", ("read.cells", "read.sheets")),
    ("read: headings", ("read.headings",)),
    ("read: rows", ("read.rows",)),
    ("read: columns", ("read.positions", "read.times", "read.polylines")),
    ("read: tables", ("read.records", "read.alignments", "read.side_tables")),
    ("read: side files", ("read.sides", "read.people", "read.traces", "read.sections", "read.context")),
    ("read: all that stands beside", ("read.beside",)),
    (
        "place: one question each",
        ("place.links", "place.blocks", "place.candidates", "place.noise", "place.adjust",
         "place.across", "place.radius", "place.shots"),
    ),
    (
        "place: along a path",
        ("place.closures", "place.stays", "place.sequence", "place.pieces", "place.priors", "place.levels",
         "place.strings"),
    ),
    ("place: pieces", ("place.along",)),
    ("place: rows", ("place.told", "place.brackets")),
    ("place: all of it", ("place.placing",)),
    ("place: a route", ("place.route",)),
    (
        "judge: one question each",
        ("judge.derived", "judge.replacements", "judge.places", "judge.gaps", "judge.unplaced", "judge.evidence",
         "judge.groups", "judge.frames", "judge.timing", "judge.bases", "judge.scale", "judge.placements",
         "judge.validity", "judge.added", "judge.phases", "judge.fittings"),
    ),
    ("judge: entries of a list", ("judge.entries", "judge.phrases")),
    (
        "judge: windows, lineage",
        ("judge.windows", "judge.lineage", "judge.sources", "judge.clocks", "judge.bends", "judge.people",
         "judge.machines", "judge.eye", "judge.traces", "judge.electrofusion", "judge.integrity"),
    ),
    ("judge: record and curve", ("judge.contradicted",)),
    ("judge: a whole record", ("judge.of_record",)),
    ("judge: bends of a route", ("judge.bending",)),
    ("judge: the groups", ("judge.findings", "judge.said")),
    ("tabulate: the journey so far", ("tabulate.journey", "tabulate.moments")),
    (
        "tabulate: joints",
        ("tabulate.joints", "tabulate.positions", "tabulate.runs", "tabulate.counts", "tabulate.info"),
    ),
    ("tabulate: lines", ("tabulate.lines", "tabulate.reaches")),
    ("publish: parts", ("publish.map_columns", "publish.scripts", "publish.gpx")),
    ("publish: parts of the map", ("publish.map_data", "publish.map_words")),
    (
        "publish",
        ("publish.webmap", "publish.geopackage", "publish.joint_log", "publish.readme", "publish.checksums"),
    ),
    ("corridor", ("build", "folder")),
    ("front door", ("cli",)),
)  # fmt: skip


def drawing() -> str:
    """The house as text, top floor first, as DEVELOPERS.md shows it."""
    rows = [f"floor {n:>2}  {name:<30}{'   '.join(rooms)}" for n, (name, rooms) in enumerate(FLOORS)]
    wall = (
        "in the wall" + " " * 28 + "procedures/*.toml   handbook/*.toml   assets/   : data and page sources, no Python"
    )
    return "\n".join([*reversed(rows), wall])
