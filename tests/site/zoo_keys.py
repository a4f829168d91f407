"""The zoo: ``site.toml`` that is no TOML, and keys that are missing, misspelt, of the wrong kind or out of range."""

from __future__ import annotations

from tests.site.broken import Broken, key, more
from tests.site.folders import SITE

ANIMALS = (
    key("a bracket left open", "[site]", "[site", """
site.toml
  - it is not TOML: Expected ']' at the end of a table declaration (at line 2, column 6)
    mend: correct the line; words need quotes, days do not [toml-syntax]
"""),
    key("words without quotes", '"Test yard (invented)"', "Test yard", """
site.toml
  - it is not TOML: Invalid value (at line 3, column 8)
    mend: correct the line; words need quotes, days do not [toml-syntax]
"""),
    more("a table twice", "[site]\n", """
site.toml
  - it is not TOML: Cannot declare ('site',) twice (at line 15, column 6)
    mend: correct the line; words need quotes, days do not [toml-syntax]
"""),
    key("a key twice", "invented = true", "invented = true\ninvented = true", """
site.toml
  - it is not TOML: Cannot overwrite a value (at line 6, column 16)
    mend: correct the line; words need quotes, days do not [toml-syntax]
"""),
    Broken(
        "saved in another encoding",
        """
site.toml
  - is not UTF-8 text: byte 0xE5 in line 3
    mend: save it as UTF-8 [not-utf-8]
""",
        toml=SITE + "[",
        files={"site.toml": SITE.replace("yard", "gård").encode("latin-1")},
    ),
    Broken("binary junk", """
site.toml
  - is not UTF-8 text: byte 0xFF in line 1
    mend: save it as UTF-8 [not-utf-8]
""", files={"site.toml": b"\x00\xff\x01" * 50}),
    Broken("an empty site.toml", """
site.toml
  - the file "site.toml" is empty
    mend: write it, or export it again [file-empty]
""", toml=""),
    Broken("a huge site.toml", """
site.toml
  - "site.toml" holds 1,000,260 bytes, at most 1,000,000 are read
    mend: cut it to the site; larger data fit into a GeoPackage or a GeoTIFF [file-too-large]
""", toml=SITE + "#" * 1_000_000),
    key("a number of five thousand digits", "0.003", "1" + "0" * 5000, """
site.toml
  - it is not TOML: a number or a nest of lists is far too long
    mend: correct the line; words need quotes, days do not [toml-syntax]
"""),
    key("a number beyond 64 bits", "0.003", "0x1" + "0" * 16, """
site.toml
  - it holds a whole number of more than 64 bits
    mend: correct the number [toml-syntax]
"""),
    more("lists nested without end", "x = " + "[" * 5000 + "]" * 5000, """
site.toml
  - it is not TOML: a number or a nest of lists is far too long
    mend: correct the line; words need quotes, days do not [toml-syntax]
"""),
    more("tables nested without end", "a" + ".a" * 5000 + " = 1", """
site.toml
  - its tables and lists lie more than 20 deep
    mend: write it flatter [toml-syntax]
"""),
    key("another format", '"routeplan/site@1"', '"routeplan/site@9"', """
site.toml
  - format: "routeplan/site@9" is not a choice
    mend: write 'routeplan/site@1' [unknown-value]
"""),
    Broken("nothing but layers", """
site.toml
  - layers, obstacles: there is no file "stock.csv"
    mend: check the spelling, or add the file [file-missing]
  - format: this key is required
    mend: write format = "routeplan/site@1" at the top [missing-key]
  - levels: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - site: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
""", toml='[layers]\nobstacles = "stock.csv"\n'),
    Broken(
        "no boundary, and more",
        """
site.toml
  - layers, areas: there is no file "areas.csv"
    mend: check the spelling, or add the file [file-missing]
  - site, boundary: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
""",
        toml=SITE.replace('boundary = "boundary.geojson"', "") + '[layers]\nareas = "areas.csv"\n',
    ),
    key("a misspelt key that is required", "datum_m", "datm_m", """
site.toml
  - levels, datum_m: this key is required
    mend: give the survey's figure; if nobody knows it, give a careful guess and write assumed = true
          [missing-key]
  - levels, datm_m: "datm_m" is not a key of this table
    mend: did you mean "datum_m"? Known: assumed, correlation_m, date, datum_m, file, short_range_m,
          smallest_hole_m, survey [unknown-key]
"""),
    key("a number for a text", '"T1"', "1", """
site.toml
  - site, revision: 1 is not text
    mend: write text in quotes [wrong-type]
"""),
    key("a blank name", "Test yard (invented)", "  ", """
site.toml
  - site, name: "  " is blank, or not one line of text
    mend: write one line of plain text [text-unfit]
"""),
    key("orders to the terminal", "Test yard (invented)", "yard\\u001b[31m\\n", r"""
site.toml
  - site, name: "yard\x1b[31m\x0a" is blank, or not one line of text
    mend: write one line of plain text [text-unfit]
"""),
    key("a name without end", "Test yard (invented)", "yard " * 100, """
site.toml
  - site, name: "yard yard yard yard yard yard  ... yard yard yard yard yard yard " is longer than 200
    characters
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
"""),
    key("a text for a yes or no", "invented = true", 'invented = "yes"', """
site.toml
  - site, invented: "yes" is neither true nor false
    mend: write true or false without quotes [wrong-type]
"""),
    key("a choice that is none", "invented = true", 'repair = "yes"', """
site.toml
  - site, repair: "yes" is not a choice
    mend: write 'no' or 'make_valid' [unknown-value]
"""),
    key("a length with its unit", "0.003", '"3 mm"', """
site.toml
  - levels, short_range_m: "3 mm" is not a number
    mend: write digits with a decimal point, without quotes or a unit [wrong-type]
"""),
    key("no error at all", "0.003", "0.0", """
site.toml
  - levels, short_range_m: 0.0 is not above 0
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
"""),
    key("a negative error", "0.010", "-0.01", """
site.toml
  - levels, datum_m: -0.01 is not above 0
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
"""),
    key("an error that is no number", "= 2.0", "= nan", """
site.toml
  - levels, correlation_m: nan is not a finite number
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
"""),
    key("a day in words", "2026-11-02", '"2 November"', """
site.toml
  - levels, date: "2 November" is not a day
    mend: write the day without quotes, as in 2026-11-02 [bad-date]
"""),
    key("a day with an hour", "2026-11-02", "2026-11-02T10:00:00", """
site.toml
  - levels, date: 2026-11-02T10:00:00 is not a day
    mend: write the day without quotes, as in 2026-11-02 [bad-date]
"""),
    key("levels as a list", "[levels]", "[[levels]]", """
site.toml
  - levels: a list is not a table
    mend: write it as a table, [levels] in single brackets [wrong-type]
"""),
    key("an unknown coordinate system, and more", '"local"', '"the usual"\nrepare = "no"', """
site.toml
  - site, crs: "the usual" is not an authority code
    mend: write "local" or the code of a projected system in metres, such as "EPSG:27700" [crs-unknown]
  - site, repare: "repare" is not a key of this table
    mend: did you mean "repair"? Known: boundary, crs, invented, name, repair, revision [unknown-key]
"""),
    key("a code that no authority gave", '"local"', '"EPSG:999999"', """
site.toml
  - site, crs: EPSG:999999 is not a known coordinate system
    mend: write "local" or the code of a projected system in metres, such as "EPSG:27700" [crs-unknown]
"""),
    key("a site in degrees", '"local"', '"EPSG:4326"', """
site.toml
  - site, crs: EPSG:4326 (WGS 84) counts in degrees, not metres
    mend: reproject every file to a projected system in metres [crs-geographic]
"""),
    key("a site in Web Mercator", '"local"', '"EPSG:3857"', """
site.toml
  - site, crs: EPSG:3857 (WGS 84 / Pseudo-Mercator) stretches lengths away from the equator
    mend: reproject to the national or UTM grid [crs-stretched]
"""),
    key("a site in feet", '"local"', '"EPSG:2263"', """
site.toml
  - site, crs: EPSG:2263 (NAD83 / New York Long Island (ftUS)) counts in "US survey foot", not metres
    mend: reproject every file to a system in metres [crs-unit]
"""),
    key("a site with axes to the west and south", '"local"', '"EPSG:2048"', """
site.toml
  - site, crs: EPSG:2048 (Hartebeesthoek94 / Lo19) has axes that do not run east and north
    mend: reproject to a system with easting and northing [crs-axes]
"""),
    more(
        "thresholds outside their ranges",
        "[thresholds]\nbounce_limit = 0.3\nhead_gap_m = 30\nbody_gap_m = inf\nroute_confidence = 1.0\n"
        'tip_participation = "1.6"\nlateral_tolerance_m = -0.15\nkerb_angle_deg = 0.2\n'
        "kerb_side_slope_deg = 50\n",
        """
site.toml
  - thresholds, body_gap_m: inf is not a finite number
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - thresholds, head_gap_m: 30 is above 2
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - thresholds, kerb_angle_deg: 0.2 is below 1
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - thresholds, kerb_side_slope_deg: 50 is above 45
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - thresholds, lateral_tolerance_m: -0.15 is below 0.02
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - thresholds, route_confidence: 1.0 is not below 1
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - thresholds, bounce_limit: "bounce_limit" is not a key of this table
    mend: did you mean "bounce_limit_m"? Known: body_gap_m, bounce_limit_m, ground_clearance_m, head_gap_m,
          head_height_m, heading_tolerance_deg, kerb_angle_deg, kerb_side_slope_deg, lateral_tolerance_m,
          reaction_s, reading_sigma_m, route_confidence, stopping_distance_m, structure_clearance_m,
          tail_gap_m, tip_participation [unknown-key]
  - thresholds, tip_participation: "1.6" is not a number
    mend: write digits with a decimal point, without quotes or a unit [wrong-type]
""",
    ),
    more("a grid that is none", "[grid]\ncell_m = 0.0\nheadings = 17\n", """
site.toml
  - grid, cell_m: 0.0 is below 0.05
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - grid, headings: 17 is not a multiple of 8
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
"""),
    more("an unknown table", "[levls]\n", """
site.toml
  - levls: "levls" is not a key of this table
    mend: did you mean "levels"? Known: contacts, format, grid, hire, layers, levels, machines, moves,
          overhead_lines, site, thresholds [unknown-key]
"""),
    more(
        "layers that name no file",
        '[layers]\nobstacle = "none"\nsoffits = {file = "none", layr = "b"}\nsurfaces = 3\n'
        'defects = ["a.csv", "b.csv"]\nwalkways = ""\nareas = {layer = "a"}\n',
        """
site.toml
  - layers, areas, file: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - layers, walkways, file: "" is empty
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - layers, obstacle: "obstacle" is not a key of this table
    mend: did you mean "obstacles"? Known: areas, defects, elevated_zones, excavations, obstacles,
          overhead_lines, places, readings, soffits, surfaces, walkways [unknown-key]
  - layers, soffits, layr: "layr" is not a key of this table
    mend: did you mean "layer"? Known: file, layer [unknown-key]
  - layers, defects: a list is not a file
    mend: name it: "..." or {file = "...", layer = "..."} [wrong-type]
  - layers, surfaces: 3 is not a file
    mend: name it: "..." or {file = "...", layer = "..."} [wrong-type]
""",
    ),
    more("terms of hire that are none",
         '[hire]\nnotice_days = 2.5\nbuffer = 1\n[hire.machines.SC12]\nnotice_days = -1\nbuffer_days = 99\nnote = "?"\n'
         '[hire.machines.""]\n', """
site.toml
  - hire, machines: "" is empty
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - hire, machines, SC12, buffer_days: 99 is above 60
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - hire, machines, SC12, notice_days: -1 is below 0
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - hire, buffer: "buffer" is not a key of this table
    mend: did you mean "buffer_days"? Known: buffer_days, machines, notice_days [unknown-key]
  - hire, machines, SC12, note: "note" is not a key of this table
    mend: Known: buffer_days, notice_days [unknown-key]
  - hire, notice_days: 2.5 is not a whole number
    mend: write a whole number without quotes [wrong-type]
"""),
    more("terms of hire for a machine that nobody hired", "[hire.machines.SC12]\nnotice_days = 2\n", """
site.toml
  - hire, machines SC12: there is no machine "SC12"
    mend: Known: none [machine-unknown]
"""),
    more("contacts that are none", '[[contacts]]\nrole = 3\ncall_sign = "A"\n[[contacts]]\nname = "Kim"\n', """
site.toml
  - contacts number 2, call_sign: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - contacts number 2, role: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - contacts number 2, name: "name" is not a key of this table
    mend: Known: call_sign, role [unknown-key]
  - contacts number 1, role: 3 is not text
    mend: write text in quotes [wrong-type]
"""),
)
