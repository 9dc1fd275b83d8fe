"""route.toml: every mistake at once, each with its key, what was found and what is allowed. All data is invented."""

import re
import tomllib

import pydantic
import pytest

from asbuilt.errors import SettingsError
from asbuilt.settings import load
from tests.making import TABLES, make_route, route_toml


def refused(folder, changes=None, *, text=None):
    """Return the lines of the refusal of a route with these changes."""
    make_route(folder, toml_changes=changes)
    if text is not None:
        (folder / "route.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=r"route\.toml") as caught:
        load(folder)
    return [str(problem) for problem in caught.value.problems]


def test_a_right_file_is_read(tmp_path):
    settings = load(make_route(tmp_path))
    assert (settings.route.name, settings.pipe.wall, settings.records[0].default_accuracy) == ("Invented line", 57.2, 1)


def test_settings_are_frozen(tmp_path):
    settings = load(make_route(tmp_path))
    for part in (settings, settings.route, settings.records[0], settings.records[0].columns["time"], settings.pipe):
        with pytest.raises(pydantic.ValidationError, match="frozen"):
            part.name = "another"


def test_every_mistake_is_told_at_once(tmp_path):
    changes = {
        "route.timezone": "Mars/Base",
        "route.crs": "EPSG:99999999",
        "alignment.file": "design/absent.csv",
        "records.files": ["records/absent_*.csv"],
        "records.encoding": "klingon",
        "records.columns.fusion_pressure": "Fuse",
        "records.columns.soak_time": {"column": "Soak", "unit": "fortnight"},
        "records.corrections.clock": "an hour",
        "pipe.stick": 12,
        "pipe.wall": "5 degC",
        "window.position.offset": "0 m",
    }
    told = refused(tmp_path, changes)
    for key in (
        "route.timezone",
        "route.crs",
        "alignment no. 1, file",
        "records no. 1, files",
        "records no. 1, encoding",
    ):
        assert sum(f"route.toml: {key}:" in line for line in told) == 1, key
    for key in ("columns.fusion_pressure", "columns.soak_time.unit", "corrections.clock"):
        assert sum(f"records no. 1, {key}:" in line for line in told) == 1, key
    for key in ("pipe.stick", "pipe.wall", "window.position.offset"):
        assert sum(f"route.toml: {key}:" in line for line in told) == 1, key
    assert len(told) == len(changes)


@pytest.mark.parametrize(
    ("place", "where", "nearest"),
    [
        ("route.nmae", "route.nmae", "name"),
        ("alignment.lenght", "alignment no. 1, lenght", "length"),
        ("records.acuracy", "records no. 1, acuracy", "accuracy"),
        ("records.columns.heater_temp", "records no. 1, columns.heater_temp", "heater_temperature"),
        ("records.corrections.clok", "records no. 1, corrections.clok", "clock"),
        ("pipe.walll", "pipe.walll", "wall"),
        ("window.requred", "window.requred", "required"),
        ("window.position.ofset", "window.position.ofset", "offset"),
    ],
)
def test_an_unknown_key_is_named_with_the_nearest(tmp_path, place, where, nearest):
    assert any(
        line.startswith(f"route.toml: {where}: ") and line.endswith(f"the nearest known is {nearest!r}")
        for line in refused(tmp_path, {place: "x"})
    )


def test_unknown_keys_inside_a_column_an_equation_and_a_limit(tmp_path):
    changes = {
        "records.columns.time": {"column": "Finished", "formt": "%d"},
        "alignment.equations": [{"back": "1 m", "ahed": "2 m"}],
        "window.limits.heater_temperature": {"lo": "210 degC"},
    }
    told = "\n".join(refused(tmp_path, changes))
    assert "columns.time.formt: this key is not known; the nearest known is 'format'" in told
    assert "equations no. 1, ahed: this key is not known; the nearest known is 'ahead'" in told
    assert "window.limits.heater_temperature.lo: this key is not known; the nearest known is 'low'" in told


def test_an_unknown_key_without_a_near_one_lists_what_is_known(tmp_path):
    (line,) = refused(tmp_path, {"pipe.zzz": 1})
    assert (
        line == "route.toml: pipe.zzz: this key is not known; known here: outside_diameter, wall, dr, stick, material"
    )


@pytest.mark.parametrize(
    ("place", "value", "told"),
    [
        ("pipe.stick", 12, "pipe.stick: found 12; allowed: a number with its unit in quotes"),
        ("pipe.stick", "12", "pipe.stick: found '12'; allowed: a number with its unit"),
        ("pipe.stick", "12 bar", "unit bar cannot be shown in m"),
        ("pipe.stick", "-12 m", "allowed: more than zero"),
        ("pipe.wall", "0 mm", "allowed: more than zero"),
        ("pipe.stick", "1e400 m", "is more than 1e+09 m"),
        ("pipe.stick", "nan m", "not a number with a unit"),
        ("pipe.dr", 1, "allowed: greater than 1"),
        ("alignment.start", 0, "alignment no. 1, start: found 0"),
        ("alignment.start", "1e300 m", "is more than 1e+09 m"),
        ("route.station_length", "12.5 m", "station_length is a whole number of the unit"),
        ("route.station_length", "0.4 m", "station_length is a whole number of the unit"),
        ("route.complete", 1, "route.complete: found 1; allowed: true or false"),
        ("route.as_of", 1, "a date or a date with a time, without quotes, such as 2026-03-20"),
        ("route.as_of", "1700000000", "a date or a date with a time, without quotes"),
        ("route.name", "", "route.name: found ''; allowed: some text"),
        ("route.height_crs", "sea level", "the name of a frame of heights"),
        ("route.height_crs", "EPSG:7855", "the name of a frame of heights"),
        ("records.heading_row", True, "records no. 1, heading_row: found true; allowed: a whole number"),
        ("records.delimiter", "|", "records no. 1, delimiter: found '|'"),
        ("records.corrections.shift", ["1 m"], "corrections.shift no. 2: not given"),
        ("records.corrections.clock", "99999999999999999999 h", "is more than 1e+09 s"),
        ("records.corrections.clock", "-40000 d", "a duration with its sign and unit"),
        ("records.corrections.clock", "-900000 h", "allowed: "),
    ],
)
def test_a_wrong_value_says_what_was_found_and_what_is_allowed(tmp_path, place, value, told):
    assert told in "\n".join(refused(tmp_path, {place: value}))


@pytest.mark.parametrize(
    "zone", ["Mars/Base", "", "GMT+10", "+10:00", "Australia", "../etc/localtime", "localtime", "right/UTC", "Factory"]
)
def test_a_zone_is_one_of_the_list_and_never_the_machines_own(tmp_path, zone):
    assert any("allowed: a time zone of the IANA list" in line for line in refused(tmp_path, {"route.timezone": zone}))


@pytest.mark.parametrize(
    "path", ["../a.csv", "/etc/passwd", "C:/a.csv", "\\\\server\\a.csv", "a/../../b.csv", "**x.csv", ".", "", " "]
)
def test_a_path_leads_into_the_folder(tmp_path, path):
    told = refused(tmp_path, {"records.files": [path], "alignment.file": path})
    assert len(told) == 2
    assert all("route.toml: alignment no. 1, file" in t or "route.toml: records no. 1, files" in t for t in told)


def test_files_that_are_not_there_are_named(tmp_path):
    told = refused(tmp_path, {"records.files": ["records/x.csv", "records/a.csv"], "alignment.file": "design/*.csv"})
    do = "correct the name, or put the file in the route folder"
    assert told == [
        f"route.toml: records no. 1, files: no file matches 'records/x.csv'; {do}",
        f"route.toml: alignment no. 1, file: no file matches 'design/*.csv'; {do}",
    ]


def test_a_name_with_brackets_is_a_name_first(tmp_path):
    settings = load(make_route(tmp_path, name="records/crew[1].csv"))
    assert settings.records[0].files == ("records/crew[1].csv",)


def test_a_file_belongs_to_one_source(tmp_path):
    make_route(tmp_path, more='[[records]]\nfiles = ["records/*.csv"]\ncrs = "EPSG:7855"\n')
    with pytest.raises(SettingsError, match=r"records no\. 2, files: records no\. 1 reads records/a\.csv, too"):
        load(tmp_path)


def test_two_lines_of_one_name_are_refused(tmp_path):
    make_route(tmp_path, more='[[alignment]]\nline = "main"\nfile = "design/line.csv"\n')
    with pytest.raises(SettingsError, match="each line needs a name of its own, found main, main"):
        load(tmp_path)


STRING = '[[string]]\nstring = "S3"\n'


def told_of(folder, more, changes=None):
    """Return the refusal of a route with `more` at the end of its route.toml."""
    make_route(folder, more=more, toml_changes=changes)
    with pytest.raises(SettingsError, match=r"route\.toml") as caught:
        load(folder)
    return str(caught.value)


def test_strings_are_read(tmp_path):
    every = 'tie_ins = ["T03", "T04"]\nfrom = "120 m"\nto = "0.4 km"\nline = "main"\nfirst_fused = "ahead"\n'
    more = f'{STRING}{every}joints = ["J1", "J9"]\nmethod = "bore"\n[[string]]\nstring = "S4"\ntie_ins = ["", "T05"]\n'
    settings = load(make_route(tmp_path, more=more))
    full, bare = settings.string
    assert (full.string, full.tie_in_back, full.tie_in_ahead, full.joints) == ("S3", "T03", "T04", ("J1", "J9"))
    assert (full.from_m, full.to_m, full.line, full.first_fused, full.method) == (120, 400, "main", "ahead", "bore")
    assert (bare.tie_in_back, bare.tie_in_ahead, bare.from_m, bare.first_fused) == ("", "T05", None, None)
    assert bare.method == "pulled in"


def test_one_tie_in_is_that_of_the_back_end_and_one_chainage_may_stand_alone(tmp_path):
    (only,) = load(make_route(tmp_path, more=f'{STRING}tie_ins = ["T03"]\nto = "90 m"\n')).string
    assert (only.tie_in_back, only.tie_in_ahead, only.from_m, only.to_m) == ("T03", "", None, 90)


def test_feet_of_a_string_are_those_of_the_route(tmp_path):
    changes = {"route.units": "us", "route.foot": "survey"}
    (only,) = load(make_route(tmp_path, more=f'{STRING}from = "1000 ft"\n', toml_changes=changes)).string
    assert only.from_m == pytest.approx(1000 * 1200 / 3937, rel=1e-12)  # the US survey foot, by its definition


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ('from = "90 m"\nto = "10 m"', "string no. 1: found a table; allowed: from is less than to; here from is 90 m"),
        ('from = "10 m"\nto = "10 m"', "from is less than to; here from is 10 m, to is 10 m"),
        ("from = 90", "string no. 1, from: found 90; allowed: a number with its unit in quotes"),
        ('form = "1 m"', "string no. 1, form: this key is not known; the nearest known is 'from'"),
        ('from_m = "1 m"', "string no. 1, from_m: this key is not known; the nearest known is 'from'"),
        ('tie_ins = ["", ""]', "tie_ins: found a list; allowed: one or two different joint numbers, back end first"),
        ('tie_ins = ["T1", "T1"]', "one or two different joint numbers"),
        ('tie_ins = ["T1", "T2", "T3"]', "one or two different joint numbers"),
        ("tie_ins = []", "tie_ins: found an empty list; allowed: one or two"),
        ('tie_ins = "T1"', "tie_ins: found 'T1'; allowed: a list"),
        ('joints = ["J1"]', "string no. 1, joints no. 2: not given; it is required"),
        ('joints = ["J1", ""]', "the numbers of the first and the last joint, in the order they were fused"),
        ('line = "other"', "string: found a list; allowed: line of S3, 'other', is one of the lines main"),
        ('first_fused = "left"', "first_fused: found 'left'; allowed: 'ahead' or 'back'"),
        ('method = "pushed"', "allowed: 'pulled in', 'strung beside trench', 'in trench' or 'bore'"),
        ('[[string]]\nstring = "S3"', "each string needs a name of its own, found S3, S3"),
        ("[[string]]\n", "string no. 2, string: not given; it is required"),
    ],
)
def test_what_is_wrong_with_a_string_is_told(tmp_path, keys, told):
    assert told in told_of(tmp_path, f"{STRING}{keys}\n")


def test_a_string_between_chainages_says_its_line_where_there_are_several(tmp_path):
    more = '[[alignment]]\nline = "branch"\nfile = "design/line.csv"\n' + STRING
    assert "S3 says its line with from and to: one of main, branch" in told_of(tmp_path, f'{more}from = "1 m"\n')
    (only,) = load(make_route(tmp_path, more=f'{more}tie_ins = ["T1"]\n')).string
    assert only.line == ""  # that of its tie-in


def test_a_string_that_is_no_list_of_tables(tmp_path):
    assert "string: found a table; allowed: a list of tables, each headed [[string]]" in told_of(
        tmp_path, '[string]\nstring = "S3"\n'
    )


def test_how_far_lengths_may_be_trusted(tmp_path):
    plain = load(make_route(tmp_path))
    assert (plain.place.stick_sd, plain.place.scale_sd, plain.place.tie_in) == (None, 0.003, None)
    assert plain.stick_sd_m == pytest.approx(0.048)  # 0.4 % of 12 m
    stated = load(make_route(tmp_path, more='[place]\nstick_sd = "20 mm"\nscale_sd = 0.01\ntie_in = "3 m"\n'))
    assert (stated.stick_sd_m, stated.place.scale_sd, stated.place.tie_in) == (0.02, 0.01, 3)
    for wrong, told in ((0, "0; allowed: greater than 0"), (1, "1; allowed: less than 0.1"), ("'x'", "'x'; allowed")):
        assert f"place.scale_sd: found {told}" in told_of(tmp_path, f"[place]\nscale_sd = {wrong}\n")


def test_a_file_beside_the_records_belongs_to_one_source_and_is_there(tmp_path):
    make_route(tmp_path)
    (tmp_path / "tally.csv").write_text("pipe,length\n", encoding="utf-8")
    assert load(tmp_path).tally.files == ("tally.csv",)
    assert "tally.files: records no. 1 reads tally.csv, too" in told_of(tmp_path, "", {"records.files": ["*.csv"]})
    assert "survey.files: no file matches 'survey.csv'" in told_of(tmp_path, "[survey]\n")
    assert "tally.files: no file matches 'pipes.xlsx'" in told_of(tmp_path, '[tally]\nfiles = ["pipes.xlsx"]\n')


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('[tally]\ncrs = "EPSG:7855"\n', "allowed: without crs, which would change nothing in [tally]"),
        ('[survey]\ntime_is = "start"\n', "allowed: without time_is, which would change nothing in [survey]"),
        (
            '[tally.columns]\nlenght = "L"\n',
            "tally.columns.lenght: no field has this name; the nearest known is 'length'",
        ),
        (
            '[tally.columns]\nsoak_time = "L"\n',
            "a field is one of pipe, length, outside_diameter, wall, lot, string, order",
        ),
        ('[survey.columns]\naccuracy = "Q"\n', "survey.columns.accuracy: no field has this name"),
        (
            '[survey.columns]\nsd = { column = "Q", unit = "psi" }\n',
            "survey.columns.sd: found a table; allowed: unit psi",
        ),
        ('[survey]\naccuracy = "hdop"\n', 'uere goes with accuracy = "hdop", and only with it'),
        ('[tally]\nsheeet = "A"\n', "tally.sheeet: this key is not known; the nearest known is 'sheet'"),
        ('[people]\ntimezone = "UTC"\n', "allowed: without timezone, which would change nothing in [people]"),
        ('[people]\nrule = "my own"\n', "people.rule: found 'my own'; allowed: '49 CFR 192.285'"),
        ("[people]\nvalid_for = 24\n", "people.valid_for: found 24; allowed: a whole number of months or years"),
        ('[machines]\nvalid_for = "0 months"\n', "machines.valid_for: found '0 months'; allowed: a whole number"),
        ('[machines]\nvalid_for = "365 d"\n', "machines.valid_for: found '365 d'; allowed: a whole number"),
        ('[machines]\nrule = "49 CFR 192.285"\n', "machines.rule: this key is not known"),
        ('[people.columns]\nsize_form = "S"\n', "people.columns.size_form: no field has this name; the nearest"),
        (
            '[people]\nrule = "49 CFR 192.285"\nvalid_for = "2 years"\n',
            "allowed: rule or valid_for: each says how long a qualification holds",
        ),
        (
            '[machines.columns]\npiston_area = { column = "A", unit = "mm" }\n',
            "machines.columns.piston_area: found a table; allowed: unit mm cannot be shown in mm2",
        ),
    ],
)
def test_tables_of_side_files_are_checked_like_those_of_records(tmp_path, more, told):
    make_route(tmp_path)
    for name in ("tally", "survey", "people", "machines"):
        (tmp_path / f"{name}.csv").write_text("a,b\n", encoding="utf-8")
    assert told in told_of(tmp_path, more)


def test_the_lists_of_people_and_machines_have_options_of_their_own(tmp_path):
    plain = load(make_route(tmp_path))
    assert (plain.people.files, plain.people.rule, plain.machines.valid_for) == (("people.csv",), None, None)
    for name in ("people", "machines"):
        (tmp_path / f"{name}.csv").write_text("a,b\n", encoding="utf-8")
    more = '[people]\nrule = "49 CFR 192.285"\n[machines]\nvalid_for = "1 year"\n'
    stated = load(make_route(tmp_path, more=more))
    assert (stated.people.rule, stated.machines.valid_for) == ("49 CFR 192.285", 12)


def test_a_rule_for_people_without_their_list_is_a_mistake(tmp_path):
    told = told_of(tmp_path, '[people]\nrule = "49 CFR 192.285"\n')
    assert "people.files: no file matches 'people.csv'" in told


def test_words_for_the_eye_are_a_word_or_a_list(tmp_path):
    assert load(make_route(tmp_path)).window.visual is None
    visual = {"window.visual": {"pass": "ok", "fail": ["reject", "cut out"]}}
    words = load(make_route(tmp_path, toml_changes=visual)).window.visual
    assert (words.passed, words.fail) == (("ok",), ("reject", "cut out"))


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({}, "words for pass and fail"),
        ({"pass": ["OK", "fair"], "fail": ["ok "]}, "each word in one of pass and fail, found ok in both"),
        ({"pass": ["ok", " "]}, "words that are not empty"),
        ({"passed": ["ok"]}, "window.visual.passed: this key is not known; the nearest known is 'pass'"),
    ],
)
def test_what_is_wrong_with_the_words_for_the_eye_is_told(tmp_path, keys, told):
    assert any(told in line for line in refused(tmp_path, {"window.visual": keys}))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"route.units": "us"}, 'with units = "us" also foot'),
        ({"alignment.length": "ground"}, 'ground_factor goes with length = "ground"'),
        ({"alignment.ground_factor": 1.0001}, 'ground_factor goes with length = "ground"'),
        ({"records.accuracy": None}, "say what accuracy means"),
        ({"records.accuracy": "hdop"}, 'uere goes with accuracy = "hdop"'),
        ({"records.uere": "5 m"}, 'uere goes with accuracy = "hdop"'),
        ({"records.accuracy": "99%"}, "'sd', '68%', '95%', 'rms', 'cep' or 'hdop'"),
        (
            {"records.columns.soak_pressure": "Soak"},
            "columns.soak_pressure: found 'Soak'; allowed: say kind = \"gauge\"",
        ),
        ({"records.columns.joint": {"column": "Joint", "kind": "gauge"}}, "kind belongs to pressures"),
        ({"records.columns.joint": {"column": "Joint", "unit": "m"}}, "a unit belongs to a quantity that has one"),
        ({"records.columns.joint": {"column": "Joint", "format": "%Y-%m-%d"}}, "format belongs to times"),
        ({"records.columns.soak_time": {"column": "Soak", "unit": "psi"}}, "unit psi cannot be shown in s"),
        ({"records.columns.soak_time": {"column": ["min", "s"], "unit": "s"}}, "one column for a number"),
        ({"records.columns.kind": {"column": "Kind", "words": {"P": "prod"}}}, "words may mean production, tie-in"),
        ({"records.columns.joint": {"column": "J", "words": {"P": "trial"}}}, "words belong to the column kind"),
        ({"records.columns.time": {"column": "At", "format": "dd/mm/yyyy"}}, "a format with day, month and year"),
        ({"records.columns.time": {"column": "At", "format": "%H:%M"}}, "a format with day, month and year"),
        ({"records.columns.time": {"column": "At", "format": "%Y-%m-%d %H:%M %Z"}}, "without %Z"),
        (
            {"window.limits": {"soak_time": {"low": 60}}},
            "window.limits.soak_time: found a table; allowed: 60 has no unit",
        ),
        ({"window.limits": {"soak_time": {}}}, "neither low nor high is given"),
        ({"window.limits": {"joint": {"low": "1 m"}}}, "the name of a quantity of a record"),
        ({"window.limits": {"soak_time": {"low": "9 s", "high": "1 s"}}}, "low 9 s is more than high 1 s"),
        ({"window.limits": {"soak_time": {"low": "1 bar"}}}, "unit bar cannot be shown in s"),
    ],
)
def test_rules_across_keys(tmp_path, changes, told):
    assert any(told in line for line in refused(tmp_path, changes))


def test_rules_of_one_table_are_told_one_by_one_beside_a_plain_mistake(tmp_path):
    changes = {
        "records.columns.fusion_pressure": "Fuse",
        "records.columns.drag_pressure": {"column": "Drag", "kind": "gague"},
        "records.columns.soak_time": {"column": "Soak", "unit": "fortnight"},
        "records.columns.visual": {"column": "Look", "unit": "mm"},
    }
    told = refused(tmp_path, changes)
    keys = [re.search(r"columns\.([\w.]+):", line)[1] for line in told]
    assert sorted(keys) == ["drag_pressure.kind", "fusion_pressure", "soak_time.unit", "visual"]


def test_feet_of_a_station_are_those_of_the_route(tmp_path):
    changes = {"route.units": "us", "route.foot": "survey", "route.station_length": "1000 ft"}
    route = load(make_route(tmp_path, toml_changes=changes)).route
    assert route.station_length_m == pytest.approx(1000 * 1200 / 3937, rel=1e-12)


@pytest.mark.parametrize(("units", "foot", "length"), [("metric", None, 1000), ("us", "international", 30.48)])
def test_the_station_length_has_a_default(tmp_path, units, foot, length):
    route = load(make_route(tmp_path, toml_changes={"route.units": units, "route.foot": foot})).route
    assert route.station_length_m == pytest.approx(length)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[", "not TOML"),
        ("x = " + "[" * 5000 + "]" * 5000, "nested too deep"),
        ("x = " + "{a=" * 900 + "1" + "}" * 900, "nested too deep"),
        ("x = " + "9" * 5000, "not TOML"),
        ("a." * 900 + "b = 1", "a: this key is not known"),
        ('name = "\\ud800"', "not TOML"),
        ("[route]\nname = inf", "route.name: found inf; allowed: text in quotes"),
        ("route = 1\nalignment = 1", "route: found 1; allowed: a table"),
        ('[records]\nfiles = ["a"]', "records: found a table; allowed: a list of tables, each headed [[records]]"),
        ("records = [1]", "records no. 1: found 1; allowed: a table"),
        ("records = []", "records: found an empty list"),
        ('folder = "/etc"', "folder: this key is not known"),
        ('"" = 1', "this key is not known"),
        ("", "route: not given; it is required"),
    ],
)
def test_hostile_text_is_refused_in_words(tmp_path, text, told):
    assert told in "\n".join(refused(tmp_path, text=text))


HOSTILE = (
    "1",
    "-1e400",
    "nan",
    "true",
    '""',
    "[]",
    "[[1]]",
    "{}",
    "{a = {a = [1]}}",
    "2026-01-01",
    '"1e400 m"',
    '"x\\u0000"',
)
PLACES = [f"{table}.{key}" for table, keys in TABLES.items() for key in keys]
PLACES += [
    "records.sheet",
    "records.corrections.shift",
    "window.limits.soak_time",
    "route.foot",
    "pipe.dr",
    "place.stick_sd",
    "place.scale_sd",
    "tally.files",
    "tally.columns",
    "survey.crs",
    "survey.columns",
    "people.files",
    "people.rule",
    "people.valid_for",
    "people.columns",
    "machines.files",
    "machines.valid_for",
    "window.visual",
    "window.visual.pass",
    "window.visual.fail",
]
STRING_KEYS = ("tie_ins", "from", "to", "line", "first_fused", "joints", "method")


@pytest.mark.parametrize("place", PLACES)
def test_a_wrong_type_anywhere_is_a_refusal_or_a_value_never_a_traceback(tmp_path, place):
    make_route(tmp_path)
    refusals = [r for r in (_refusal(tmp_path, place, value) for value in HOSTILE) if r]
    assert refusals
    assert all(p.where and p.found and p.do for refusal in refusals for p in refusal.problems)


def _refusal(folder, place, value):
    (folder / "route.toml").write_text(route_toml({place: tomllib.loads(f"x = {value}")["x"]}), encoding="utf-8")
    try:
        load(folder)
    except SettingsError as error:
        return error
    return None


@pytest.mark.parametrize("key", STRING_KEYS)
@pytest.mark.parametrize("value", [v for v in HOSTILE if v != '""'])
def test_a_wrong_type_in_a_string_is_a_refusal(tmp_path, key, value):
    make_route(tmp_path, more=f"{STRING}{key} = {value}\n")
    with pytest.raises(SettingsError, match=r"route\.toml: string") as caught:
        load(tmp_path)
    assert all(p.found and p.do for p in caught.value.problems)


def test_a_byte_order_mark_is_no_mistake_and_another_encoding_is(tmp_path):
    text = route_toml({"route.name": "Düker"})
    path = make_route(tmp_path) / "route.toml"
    path.write_text(text, encoding="utf-8-sig")
    assert load(tmp_path).route.name == "Düker"
    path.write_text(text, encoding="cp1252")
    with pytest.raises(SettingsError, match="not UTF-8 at byte"):
        load(tmp_path)


def test_a_folder_without_route_toml_and_no_folder(tmp_path):
    with pytest.raises(SettingsError, match=r"there is no route\.toml"):
        load(tmp_path)
    with pytest.raises(SettingsError, match="there is no such folder"):
        load(tmp_path / "absent")
