"""The house: which room stands on which floor. A room knows rooms of lower floors only.

Written once, here; `test_house.py` holds the code to it and DEVELOPERS.md to its drawing.
"""

FLOORS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("bedrock", ("errors",)),
    ("vocabulary", ("fields", "tables", "stationing", "quantities", "look", "cautions", "outcome")),
    ("words and windows", ("window", "as_built", "map_tables", "domains", "judge.finding", "basis", "outstanding",
                           "depths")),
    ("instruments", ("sentence", "alignment", "curvature", "crs", "procedures", "handbook.published")),
    ("instruments: receivers", ("receivers",)),
    ("settings: paths", ("settings.paths",)),
    ("settings: kinds of value", ("settings.parts",)),
    (
        "settings: sources",
        ("settings.sources", "settings.eye", "settings.context", "settings.photos", "settings.report", "settings.pipe",
         "settings.export"),
    ),
    ("settings: curves, decisions", ("settings.traces", "settings.decisions", "settings.plan", "settings.features")),
    ("settings", ("settings.model",)),
    ("settings, checked", ("settings.load",)),
    ("read: durations", ("read.durations",)),
    ("read: files and cells", ("read.cells", "read.sheets", "read.pictures")),
    ("read: columns of a sheet", ("read.columns",)),
    ("read: headings", ("read.headings",)),
    ("read: rows", ("read.rows",)),
    ("read: columns", ("read.positions", "read.times", "read.polylines")),
    ("read: tables", ("read.records", "read.alignments", "read.side_tables")),
    ("read: reaches, places of a list", ("read.reaches", "read.side_places")),
    ("read: side files", ("read.sides", "read.people", "read.traces", "read.sections", "read.context", "read.photos",
                              "read.decisions", "read.plan", "read.features", "read.found")),
    ("read: all that stands beside", ("read.beside", "read.unread")),
    (
        "place: one question each",
        ("place.links", "place.blocks", "place.candidates", "place.noise", "place.adjust",
         "place.across", "place.radius", "place.newest", "place.ties", "place.remade"),
    ),
    (
        "place: along a path",
        ("place.shots", "place.closures", "place.stays", "place.sequence", "place.pieces", "place.priors",
         "place.levels", "place.strings"),
    ),
    ("place: pieces", ("place.along", "place.hung")),
    ("place: rows", ("place.told", "place.brackets")),
    ("place: all of it", ("place.placing",)),
    ("place: a route", ("place.route",)),
    (
        "judge: one question each",
        ("judge.derived", "judge.replacements", "judge.places", "judge.gaps", "judge.unplaced", "judge.evidence",
         "judge.groups", "judge.frames", "judge.timing", "judge.bases", "judge.scale", "judge.placements",
         "judge.validity", "judge.added", "judge.phases", "judge.fittings", "judge.closing",
         "judge.completeness", "judge.accuracy", "judge.found_again"),
    ),
    ("judge: entries of a list", ("judge.entries", "judge.phrases", "judge.decisions")),
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
        ("tabulate.joints", "tabulate.positions", "tabulate.runs", "tabulate.counts", "tabulate.info",
         "tabulate.standing", "tabulate.schedule", "tabulate.ties"),
    ),
    ("tabulate: lines", ("tabulate.lines", "tabulate.reaches")),
    ("copies: places on a grid", ("coarse",)),
    ("copies: people left out", ("redact",)),
    (
        "publish: words and cells",
        ("publish.readme_words", "publish.log_cells", "publish.in_wgs84", "publish.export_layers"),
    ),
    (
        "progress: bedrock",
        ("progress.rows", "progress.spans", "progress.calendar", "progress.formulas", "progress.svg"),
    ),
    ("progress: the work", ("progress.work",)),
    ("progress: the plan, the stages", ("progress.planned", "progress.stages")),
    ("progress: days, forecasts", ("progress.days", "progress.forecast", "progress.missing")),
    ("progress: all figures", ("progress.figures",)),
    ("progress: what is said", ("progress.said", "progress.changes")),
    ("progress: frame of the chart", ("progress.frame",)),
    ("progress: chart, page", ("progress.chart", "progress.page")),
    (
        "publish: parts",
        ("publish.map_columns", "publish.scripts", "publish.gpx", "publish.map_photos", "publish.to_decide",
         "publish.typeset", "publish.strips", "publish.report_tables", "publish.report_ledger"),
    ),
    ("publish: parts of the map", ("publish.map_data", "publish.map_words")),
    ("publish: parts on paper", ("publish.report_data", "publish.sheet_plan", "publish.sheet_bands")),
    ("publish: file and signs of the GeoPackage", ("publish.gpkg_file", "publish.gpkg_signs")),
    (
        "publish: what the GeoPackage says of itself",
        ("publish.gpkg_schema", "publish.gpkg_metadata", "publish.gpkg_relations", "publish.gpkg_qml",
         "publish.gpkg_sld", "publish.gpkg_indexes"),
    ),
    ("publish: styles of the GeoPackage", ("publish.gpkg_styles",)),
    (
        "publish: exports",
        ("publish.export_shapefile", "publish.export_geojson", "publish.export_kml", "publish.export_dxf"),
    ),
    (
        "publish",
        ("publish.webmap", "publish.geopackage", "publish.joint_log", "publish.readme", "publish.checksums",
         "publish.report", "publish.sheets", "publish.exports"),
    ),
    ("publish: beside the log", ("publish.log_csv",)),
    ("second uses: files as they lie", ("second.files", "second.plain")),
    (
        "second uses: one kind of file each",
        ("second.layers", "second.logs", "second.pages", "second.waypoints", "second.papers"),
    ),
    ("second uses: a hand-over", ("second.handed_over",)),
    ("second uses: a check, two sides", ("second.check", "second.sides")),
    (
        "second uses: what is asked",
        ("second.of_files", "second.of_tables", "second.of_copies", "second.of_words", "second.moves",
         "second.changes"),
    ),
    ("second uses: what changed", ("second.difference", "second.signature")),
    ("second uses: what changed, told", ("second.telling",)),
    ("second uses: lists and documents", ("second.listing", "second.writing")),
    ("second uses", ("compare", "verify")),
    ("find: words and rows", ("find.typed", "find.names", "find.record")),
    ("find: what is asked", ("find.asked", "find.frames", "find.boxes")),
    ("find: an answer", ("find.answer",)),
    ("find: around a joint", ("find.surroundings", "find.heights", "find.sheet_map")),
    ("find: the search, the words", ("find.search", "find.told")),
    ("find", ("find.giving", "find.sheet", "find.waypoints")),
    ("corridor", ("build", "folder")),
    ("second uses: progress, its folder", ("progress.outlet", "progress.earlier", "progress.watch")),
    ("second uses: an evening", ("progress.evening",)),
    ("front door: what every door has", ("door",)),
    ("front door: find", ("cli_find",)),
    ("front door", ("cli",)),
)  # fmt: skip


def drawing() -> str:
    """The house as text, top floor first, as DEVELOPERS.md shows it."""
    wide = max(len(name) for name, _ in FLOORS) + 2
    rows = [f"floor {n:>2}  {name:<{wide}}{'   '.join(rooms)}" for n, (name, rooms) in enumerate(FLOORS)]
    in_the_wall = "procedures/*.toml   handbook/*.toml   assets/   : data and page sources, no Python"
    return "\n".join([*reversed(rows), f"{'in the wall':<{wide + 10}}{in_the_wall}"])
