"""The zoo: columns of layers that cannot be, CSV that is none, and one folder with faults in every file."""

from __future__ import annotations

import json

from tests.site.broken import PLACES, Broken, move, rows, text
from tests.site.folders import BOW_TIE, MACHINE, SITE, feature, geojson, line, point, polygon, slope, write_levels

SQUARE = polygon(1, 1, 2, 2)
BEAM = {"kind": "beam", "sigma_m": 0.01}
RAISED = {
    "accepted_by": "TWC", "accepted_on": "2026-02-28", "accepted_until": "2026-03-31", "accepted_mass_kg": 9000,
    "platform_height_m": 6, "smooth_to_m": 0.01,
}  # fmt: skip
ACCEPTED = {"accepted_by": "TWC", "accepted_on": "2026-02-28", "accepted_mass_kg": 9000}

ANIMALS = (
    rows(
        "obstacles with columns that cannot be",
        "obstacles",
        feature(line((1, 1), (5, 1)), id="fence"),
        feature(point(1, 1), id="post"),
        feature(point(1, 1), id="silo", width_m=51),
        feature(SQUARE, id="height", top_m=1.1),
        feature(SQUARE, id="tower", top_m=9001),
        feature(SQUARE, id="comma", top_m="51,1"),
        feature(SQUARE, id="true", top_m=True),
        feature(SQUARE, id="endless", top_m=10**30),
        feature(SQUARE, id="nan", top_m=float("nan")),
        feature(SQUARE, id="list", kind=["a", "stack"]),
        feature(SQUARE, id="two\nlines", kind="\x1b[31mred"),
        feature(SQUARE, id={"number": 1}),
        faults=r"""
obstacles.geojson
  - feature height: its top (1.10 m) lies below the ground there (50.03 m)
    mend: top_m is a level in the site's datum: ground level plus height; leave it empty when not known
          [obstacle-below-ground]
  - feature endless: top_m = 1000000000000000000000000000000 is outside the sane range
    mend: give a value from -500 to 9000 [out-of-range]
  - feature nan: top_m = NaN is outside the sane range
    mend: give a value from -500 to 9000 [out-of-range]
  - feature silo: width_m = 51 is outside the sane range
    mend: give a value from 0.001 to 50 [out-of-range]
  - feature tower: top_m = 9001 is outside the sane range
    mend: give a value from -500 to 9000 [out-of-range]
  - feature two\x0alines: id = 'two\nlines' is not one line of text
    mend: write one line of text [text-unfit]
  - feature two\x0alines: kind = '\x1b[31mred' is not one line of text
    mend: write one line of text [text-unfit]
  - feature fence: it is a line without width_m
    mend: give its width in metres [width-missing]
  - feature post: it is a point without width_m
    mend: give its width in metres [width-missing]
  - feature comma: top_m = '51,1' is written with a comma
    mend: write digits with a decimal point, without a unit [wrong-type]
  - feature list: kind = ['a', 'stack'] is not text
    mend: write words [wrong-type]
  - feature true: top_m = True is not a number
    mend: write digits with a decimal point, without a unit [wrong-type]
  - feature {'number': 1}: id = {'number': 1} is not text
    mend: write words [wrong-type]
""",
    ),
    rows(
        "columns that are nearly right, and one twice",
        "obstacles",
        feature(SQUARE, id="a", top=51.0, Kind="x", kind="y"),
        faults="""
obstacles.geojson
  - the column "kind" stands twice
    mend: keep one of them [column-twice]
  - column "top" is not read
    mend: name it "top_m", or something less alike [unknown-column]
""",
    ),
    text(
        "properties that are a list",
        "obstacles",
        "geojson",
        json.dumps({"type": "Feature", "id": "a", "geometry": SQUARE, "properties": [1]}),
        """
obstacles.geojson
  - feature number 1: its properties are not an object
    mend: export it again as GeoJSON [wrong-type]
""",
    ),
    rows(
        "soffits with levels that cannot be",
        "soffits",
        feature(SQUARE, id="neither", **BEAM),
        feature(SQUARE, id="both", level_m=53, clear_m=3, **BEAM),
        feature(SQUARE, id="falls", clear_m=3, fall_x=0.1, **BEAM),
        feature(SQUARE, id="height", level_m=2.5, **BEAM),
        feature(polygon(1, 1, 9, 2), id="dips", level_m=51, fall_x=-0.4),
        feature(SQUARE, id="under", clear_m=-3),
        feature(SQUARE, id="sure", level_m=53, sigma_m=0),
        feature(point(1, 1), id="lamp", level_m=53),
        faults="""
soffits.geojson
  - feature lamp: it is a Point
    mend: this layer takes an area or a line [geometry-type]
  - feature sure: sigma_m = 0 is outside the sane range
    mend: give a value above 0 to 10 [out-of-range]
  - feature under: clear_m = -3 is outside the sane range
    mend: give a value above 0 to 200 [out-of-range]
  - feature dips, at 9.00 E 2.00 N: its underside lies 0.73 m below the ground
    mend: level_m is a level in the site's datum; give a height above the ground as clear_m
          [soffit-below-ground]
  - feature height, at 2.00 E 2.00 N: its underside lies 47.56 m below the ground
    mend: level_m is a level in the site's datum; give a height above the ground as clear_m
          [soffit-below-ground]
  - feature both: it has both level_m and clear_m
    mend: give its level, or its clear height, not both [soffit-level]
  - feature falls: it has a clear height and a fall
    mend: give level_m with the fall; a clear height already follows the ground [soffit-level]
  - feature neither: it has neither level_m nor clear_m
    mend: give its level, or its clear height, not both [soffit-level]
""",
    ),
    rows(
        "surfaces accepted in part",
        "surfaces",
        feature(line((1, 1), (2, 2)), id="line"),
        feature(SQUARE, id="undated", accepted_by="TWC", accepted_mass_kg=9000),
        feature(SQUARE, id="leap", **ACCEPTED | {"accepted_on": "2026-02-29"}),
        feature(SQUARE, id="over", **ACCEPTED, accepted_until="2026-02-27"),
        feature(SQUARE, id="weightless", **ACCEPTED | {"accepted_mass_kg": 0}),
        feature(SQUARE, id="until", accepted_until="2026-12-24"),
        faults="""
surfaces.geojson
  - feature over: accepted on 2026-02-28 until 2026-02-27
    mend: write the later day last [acceptance-backwards]
  - feature undated: its acceptance is told in part
    mend: give accepted_by, accepted_on and accepted_mass_kg, or none of them [acceptance-incomplete]
  - feature until: its acceptance is told in part
    mend: give accepted_by, accepted_on and accepted_mass_kg, or none of them [acceptance-incomplete]
  - feature leap: accepted_on = '2026-02-29' is not a day
    mend: write it as in 2026-11-02; in a spreadsheet make the column text first, it rewrites days [bad-date]
  - feature line: it is a LineString
    mend: this layer takes an area [geometry-type]
  - feature weightless: accepted_mass_kg = 0 is outside the sane range
    mend: give a value above 0 to 200000 [out-of-range]
""",
    ),
    rows(
        "elevated zones accepted in part",
        "elevated_zones",
        feature(line((1, 1), (2, 2)), id="line", **RAISED),
        feature(SQUARE, id="bumpy", **RAISED | {"smooth_to_m": 0.3}),
        feature(SQUARE, id="endless", **{name: value for name, value in RAISED.items() if name != "accepted_until"}),
        feature(SQUARE, id="over", **RAISED | {"accepted_until": "2026-02-27"}),
        feature(SQUARE, id="sky", **RAISED | {"platform_height_m": 61}),
        feature(SQUARE, id="nobody"),
        faults="""
elevated_zones.geojson
  - feature over: accepted on 2026-02-28 until 2026-02-27
    mend: write the later day last [acceptance-backwards]
  - feature endless: its acceptance is told in part
    mend: give accepted_by, accepted_on, accepted_until, accepted_mass_kg, platform_height_m, smooth_to_m, or
          none [acceptance-incomplete]
  - feature line: it is a LineString
    mend: this layer takes an area [geometry-type]
  - feature bumpy: smooth_to_m = 0.3 is outside the sane range
    mend: give a value from 0 to 0.2 [out-of-range]
  - feature sky: platform_height_m = 61 is outside the sane range
    mend: give a value above 0 to 60 [out-of-range]
""",
    ),
    rows(
        "surfaces that tell in part, or backwards, how tyres grip them",
        "surfaces",
        feature(SQUARE, id="whose", friction_wet=0.4),
        feature(SQUARE, id="loose", friction_by="drag test", friction_dry=0.6, loose="grit"),
        feature(SQUARE, id="only", friction_by="drag test", friction_loose=0.4, loose="grit"),
        feature(SQUARE, id="bare", friction_by="drag test"),
        feature(SQUARE, id="wetter", friction_by="drag test", friction_dry=0.4, friction_wet=0.6),
        feature(SQUARE, id="slip", friction_by="drag test", friction_dry=60),
        faults="""
surfaces.geojson
  - feature wetter: friction_wet = 0.6 is more than friction_dry = 0.4
    mend: no ground grips better wet: write the lesser for both [friction-backwards]
  - feature bare: how tyres grip it is told in part
    mend: give friction_dry or friction_wet [friction-incomplete]
  - feature loose: how tyres grip it is told in part
    mend: give loose and friction_loose together [friction-incomplete]
  - feature only: how tyres grip it is told in part
    mend: give friction_dry or friction_wet [friction-incomplete]
  - feature whose: how tyres grip it is told in part
    mend: give friction_by [friction-incomplete]
  - feature slip: friction_dry = 60 is outside the sane range
    mend: give a value from 0.02 to 1.2 [out-of-range]
""",
    ),
    rows(
        "surfaces that tell in part, or twice, what they bear",
        "surfaces",
        feature(SQUARE, id="whose", wheel_limit_kn=30),
        feature(SQUARE, id="what", bearing_by="TWC"),
        feature(SQUARE, id="mixed", bearing_by="TWC", wheel_limit_kn=30, clay_cu_kpa=40),
        feature(SQUARE, id="clay", bearing_by="TWC", clay_cu_kpa=40, clay_factor=2),
        feature(SQUARE, id="stone", bearing_by="TWC", platform_m=0.4, spread_deg=30),
        feature(SQUARE, id="soil", bearing_by="TWC", platform_m=0.4, spread_deg=30, below_phi_deg=30),
        feature(SQUARE, id="twice", bearing_by="TWC", platform_m=0.4, spread_deg=30, below_kpa=90, below_phi_deg=30,
                below_knm3=10, below_factor=2),
        feature(SQUARE, id="slip", bearing_by="TWC", clay_cu_kpa=0, clay_factor=0.5, clay_rut_kpa="300 kPa"),
        feature(SQUARE, id="rain", bearing_by="TWC", wheel_limit_kn=30, wet_factor=0.5),
        feature(SQUARE, id="more", bearing_by="TWC", clay_cu_kpa=40, clay_factor=2, clay_rut_kpa=150, wet_factor=1.5),
        faults="""
surfaces.geojson
  - feature clay: it has no clay_rut_kpa: how it bears wheels is told in part
    mend: give bearing_by, clay_cu_kpa, clay_factor, clay_rut_kpa, or none of them [bearing-incomplete]
  - feature soil: it has no below_knm3, below_factor: how it bears wheels is told in part
    mend: give bearing_by, platform_m, spread_deg, below_phi_deg, below_knm3, below_factor, or none of them
          [bearing-incomplete]
  - feature stone: it has no below_kpa: how it bears wheels is told in part
    mend: give bearing_by, platform_m, spread_deg, below_kpa, or none of them [bearing-incomplete]
  - feature twice: its weak layer is told as a pressure and as soil: how it bears wheels is told in part
    mend: give bearing_by, platform_m, spread_deg, below_phi_deg, below_knm3, below_factor, or none of them
          [bearing-incomplete]
  - feature what: it has no wheel_limit_kn: how it bears wheels is told in part
    mend: give bearing_by, wheel_limit_kn, or none of them [bearing-incomplete]
  - feature whose: it has no bearing_by: how it bears wheels is told in part
    mend: give bearing_by, wheel_limit_kn, or none of them [bearing-incomplete]
  - feature mixed: it is told as a limit for one wheel and as clay
    mend: give the columns of one kind of ground: two are never mixed [bearing-mixed]
  - feature rain: it has a wet_factor, and is told as no ground that softens
    mend: give it for clay and for a platform; a limit for one wheel holds wet and dry [bearing-wet]
  - feature more: wet_factor = 1.5 is outside the sane range
    mend: give a value from 0.05 to 1 [out-of-range]
  - feature slip: clay_cu_kpa = 0 is outside the sane range
    mend: give a value from 1 to 500 [out-of-range]
  - feature slip: clay_factor = 0.5 is outside the sane range
    mend: give a value from 1 to 10 [out-of-range]
  - feature slip: clay_rut_kpa = '300 kPa' is not a number
    mend: write digits with a decimal point, without a unit [wrong-type]
""",
    ),
    rows(
        "defects that are told in part",
        "defects",
        feature(point(1, 1), id="hole", kind="hole"),
        feature(SQUARE, id="kindless"),
        feature(point(1, 1), id="shallow", kind="pothole", width_m=0.3),
        feature(point(1, 1), id="hill", kind="pothole", width_m=0.3, depth_m=-0.1),
        feature(point(1, 1), id="dot", kind="pothole", depth_m=0.1),
        feature(line((1, 1), (2, 2)), id="kerb", kind="kerb"),
        feature(line((1, 1), (2, 2)), id="sill", kind="sill", height_m=0.02),
        feature(line((1, 1), (2, 2)), id="lid", kind="cover"),
        feature(SQUARE, id="weak", kind="plate", state="plated", proven_by="TWC", wheel_limit_kn=40),
        feature(SQUARE, id="half", kind="plate", state="proven", proven_by="TWC", wheel_limit_kn=40),
        feature(SQUARE, id="deep", kind="cover", state="proven", proven_by="maker", proven_on="2026-11-20",
                wheel_limit_kn=40, height_m=0.01, depth_m=0.1),
        feature(SQUARE, id="flush", kind="plate", state="proven", proven_by="maker", proven_on="2026-11-20",
                wheel_limit_kn=40, height_m="0.0"),
        feature(SQUARE, id="rimmed", kind="pothole", depth_m=0.1, height_m=0.05),
        feature(SQUARE, id="sunken", kind="kerb", height_m=0.05, depth_m=0.1),
        feature(SQUARE, id="gone", kind="plate", state="proven", proven_by="maker", proven_on="2026-11-20",
                proven_until="2026-11-19", wheel_limit_kn=40, height_m=0.01),
        feature(SQUARE, id="until", kind="plate", state="plated", proven_until="2026-11-19"),
        feature(SQUARE, id="much", kind="cover", state="proven", proven_by="maker", proven_on="2026-11-20",
                wheel_limit_kn=4000, height_m=0.01),
        faults="""
defects.geojson
  - feature rimmed: it is a pothole and has a height_m
    mend: leave it empty, and draw a kerb or sill beside it [defect-mixed]
  - feature sunken: it is a kerb and has a depth_m
    mend: leave it empty, and draw a pothole beside it [defect-mixed]
  - feature lid: it is a LineString
    mend: this layer takes an area or a point [geometry-type]
  - feature hill: depth_m = -0.1 is outside the sane range
    mend: give a value from 0 to 20 [out-of-range]
  - feature much: wheel_limit_kn = 4000 is outside the sane range
    mend: give a value from 0.1 to 1000 [out-of-range]
  - feature gone: proven on 2026-11-20 until 2026-11-19
    mend: write the later day last [proof-backwards]
  - feature deep: what lets wheels over it is told in part
    mend: leave depth_m empty [proof-incomplete]
  - feature flush: what lets wheels over it is told in part
    mend: give height_m above 0: all of them let wheels over it [proof-incomplete]
  - feature half: what lets wheels over it is told in part
    mend: give proven_on, height_m above 0: all of them let wheels over it [proof-incomplete]
  - feature until: it gives proven_until, and is no cover or plate whose state is proven
    mend: only a proven cover or plate is driven over: leave them empty [proof-misplaced]
  - feature weak: it gives proven_by, wheel_limit_kn, and is no cover or plate whose state is proven
    mend: only a proven cover or plate is driven over: leave them empty [proof-misplaced]
  - feature hole: kind = 'hole' is not a kind of defect
    mend: did you mean "pothole"? Known: cover, kerb, plate, pothole, sill, trench [unknown-value]
  - feature kerb: it has no height_m
    mend: give it in metres, a kerb needs one [value-missing]
  - feature kindless: it has no kind
    mend: write one of pothole, kerb, sill, cover, plate, trench [value-missing]
  - feature shallow: it has no depth_m
    mend: give it in metres, a pothole needs one [value-missing]
  - feature dot: it is a point without width_m
    mend: give its width in metres [width-missing]
  - feature sill: it is a line without width_m
    mend: give its width in metres [width-missing]
""",
    ),
    Broken(
        "lines and pits without their distances",
        """
e.geojson
  - feature hole: set_back_m = -1 is outside the sane range
    mend: give a value from 0 to 50 [out-of-range]
  - feature pit: it has no set_back_m
    mend: give the distance wheels keep from its edge, metres [value-missing]

o.geojson
  - feature pole: it is a Point
    mend: this layer takes an area or a line [geometry-type]
  - feature cable: it has no corridor_m
    mend: give the distance to keep to each side, metres; there is no default [value-missing]

w.geojson
  - feature path: it is a line without width_m
    mend: give its width in metres [width-missing]
""",
        toml=SITE + '[layers]\nwalkways = "w.geojson"\noverhead_lines = "o.geojson"\nexcavations = "e.geojson"\n',
        files={
            "w.geojson": geojson(feature(line((1, 1), (2, 2)), id="path")),
            "o.geojson": geojson(
                feature(line((1, 1), (2, 2)), id="cable"), feature(point(1, 1), id="pole", corridor_m=3)
            ),
            "e.geojson": geojson(feature(SQUARE, id="pit"), feature(SQUARE, id="hole", set_back_m=-1)),
        },
    ),
    rows(
        "closures that cannot be",
        "areas",
        feature(SQUARE, id="backwards", closed="2026-12-04/2026-12-01"),
        feature(SQUARE, id="weekly", closed="2026-12-01; Monday"),
        feature(SQUARE, id="thrice", closed="2026-12-01/2026-12-02/2026-12-03"),
        feature(SQUARE, id="number", closed=20261201),
        feature(SQUARE, id="endless", closed="2026-12-01/../2026-12-03"),
        feature(SQUARE, id="dots", closed=".."),
        faults="""
areas.geojson
  - feature dots: closed: '..' is not a span of days
    mend: write it as in 2026-11-30/2026-12-04; 2026-12-10/.. [bad-date]
  - feature endless: closed: '2026-12-01/../2026-12-03' is not a span of days
    mend: write it as in 2026-11-30/2026-12-04; 2026-12-10/.. [bad-date]
  - feature number: closed: '20261201' is not a span of days
    mend: write it as in 2026-11-30/2026-12-04; 2026-12-10/.. [bad-date]
  - feature thrice: closed: '2026-12-01/2026-12-02/2026-12-03' is not a span of days
    mend: write it as in 2026-11-30/2026-12-04; 2026-12-10/.. [bad-date]
  - feature weekly: closed: 'Monday' is not a span of days
    mend: write it as in 2026-11-30/2026-12-04; 2026-12-10/.. [bad-date]
  - feature backwards: closed: 2026-12-04/2026-12-01 ends before it begins
    mend: write the first day first [closure-backwards]
""",
    ),
    rows(
        "places where nothing can stand",
        "places",
        feature({"type": "MultiPoint", "coordinates": [[1, 1], [2, 2]]}, id="two"),
        feature(SQUARE, id="yard"),
        feature(point(1, 1), id="turned", bearing_deg=361),
        feature(point(1, 1), id="exact", tolerance_m=0),
        feature(point(21, 1), id="out"),
        faults="""
places.geojson
  - feature two: it has 2 points
    mend: give each place one point [geometry-type]
  - feature yard: it is a Polygon
    mend: this layer takes a point [geometry-type]
  - feature exact: tolerance_m = 0 is outside the sane range
    mend: give a value above 0 to 10 [out-of-range]
  - feature turned: bearing_deg = 361 is outside the sane range
    mend: give a value from 0 to 360 [out-of-range]
  - feature out, at 21.00 E 1.00 N: it lies 1.00 m outside the boundary
    mend: move it inside, or draw the boundary round it [place-outside]
""",
    ),
    Broken(
        "a place in an obstacle",
        """
places.csv
  - feature gate, at 1.00 E 1.00 N: it lies inside the obstacle "stack"
    mend: move the place to where the machine's origin stands, or correct the obstacle [place-in-obstacle]
""",
        toml=SITE + '[layers]\nplaces = "places.csv"\nobstacles = "obstacles.geojson"\n',
        files={"places.csv": PLACES, "obstacles.geojson": geojson(feature(polygon(0.5, 0.5, 3, 3), id="stack"))},
    ),
    text("a CSV with a cell too few", "places", "csv", "id,kind,x,y\na,gate,1\n", """
places.csv
  - line 2: has 3 cells, the header 4
    mend: give each column one cell, and write decimal points: a decimal comma makes two cells of one
          [csv-layout]
"""),
    text("a CSV with a column twice", "places", "csv", "id,kind,x,X\na,gate,1,1\n", """
places.csv
  - two columns are called "x"
    mend: name each column once [csv-layout]
"""),
    text("a CSV without columns for the place", "places", "csv", "id,kind,east,north\na,gate,1,1\n", """
places.csv
  - there are no columns x and y, nor wkt
    mend: add x and y in site metres, or wkt [csv-layout]
"""),
    text("a CSV with semicolons", "places", "csv", "id;x;y\na;1,5;1\n", """
places.csv
  - its columns are separated by semicolons
    mend: use commas and decimal points: choose the comma as separator when the spreadsheet opens and saves it
          [csv-layout]
"""),
    text(
        "a CSV with places that are none",
        "places",
        "csv",
        'id,x,y,wkt\na,"1,5",1,\nb,nan,1,\nc,,1,\nd,,,POINT 1 1\ne,,,POINT EMPTY\nf,,,POINT (1e400 1)\n',
        """
places.csv
  - feature b: a coordinate is NaN or infinite
    mend: draw it again [coordinates-not-finite]
  - feature f: a coordinate is NaN or infinite
    mend: draw it again [coordinates-not-finite]
  - feature e: it has no geometry that can be read
    mend: draw it, or delete the row [geometry-empty]
  - line 2: x = '1,5', y = '1': a number is written with a comma
    mend: give both in site metres with decimal points [geometry-unreadable]
  - line 4: x = '', y = '1' is no place
    mend: give both in site metres with decimal points [geometry-unreadable]
  - line 5: its wkt "POINT 1 1" cannot be read
    mend: write it as in POINT (1 2) [geometry-unreadable]
""",
    ),
    text("a CSV with a quote left open", "places", "csv", 'id,kind,x,y\n"a,gate,1,1\n', """
places.csv
  - is not a CSV: line 2: unexpected end of data
    mend: close the quotes, or use GeoJSON [file-unreadable]
"""),
    text("a CSV with a cell without end", "places", "csv", f"id,wkt\na,{'POINT ' * 30_000}\n", """
places.csv
  - is not a CSV: line 2: field larger than field limit (131072)
    mend: close the quotes, or use GeoJSON [file-unreadable]
"""),
    text("a CSV in another encoding", "places", "csv", "id,x,y\nn,1,1\nGrünanlage,1,1\n".encode("latin-1"), """
places.csv
  - is not UTF-8 text: byte 0xFC in line 3
    mend: save it as UTF-8 [not-utf-8]
"""),
    text("a CSV that is binary junk", "places", "csv", bytes(range(256)), """
places.csv
  - is not UTF-8 text: byte 0x80 in line 2
    mend: save it as UTF-8 [not-utf-8]
"""),
    Broken(
        "faults in every file at once",
        """
levels.tif
  - the levels leave 50.0 m2 of the boundary (25.0%) bare, between 15.00 and 20.00 E, 0.00 and 10.00 N
    mend: give levels for the whole boundary (cells without data are allowed: they are not driven on), or
          shrink it [levels-short-of-boundary]

places.csv
  - feature out, at 30.00 E 1.00 N: it lies 10.00 m outside the boundary
    mend: move it inside, or draw the boundary round it [place-outside]

site.toml
  - moves D1: the id "D1" is used twice
    mend: rename one of the moves [duplicate-id]
  - layers, areas: there is no file "areas.csv"
    mend: check the spelling, or add the file [file-missing]
  - moves D1: there is no machine "X"
    mend: Known: B, SC12 [machine-unknown]
  - levels, datum_m: this key is required
    mend: give the survey's figure; if nobody knows it, give a careful guess and write assumed = true
          [missing-key]
  - moves D1, to: there is no place "by"
    mend: did you mean "bay"? Known: bay, gate, out [place-unknown]
  - machines B: unknown machine class 'telescopic-boom-61m'
    mend: did you mean telescopic-boom-26m? [unknown-class]
  - levels, datm_m: "datm_m" is not a key of this table
    mend: did you mean "datum_m"? Known: assumed, correlation_m, date, datum_m, file, short_range_m,
          smallest_hole_m, survey [unknown-key]

soffits.geojson
  - feature b, at 4.00 E 4.00 N: the outline is invalid: Self-intersection
    mend: draw it again, or write repair = "make_valid" to have it mended and listed [geometry-invalid]
  - feature a, at 2.00 E 2.00 N: its underside lies 47.56 m below the ground
    mend: level_m is a level in the site's datum; give a height above the ground as clear_m
          [soffit-below-ground]
""",
        toml=SITE.replace("datum_m", "datm_m")
        + f'[layers]\nplaces = "places.csv"\nsoffits = "soffits.geojson"\nareas = "areas.csv"\n{MACHINE}'
        + '[machines.B]\nclass = "boom"\n'.replace("boom", "telescopic-boom-61m")
        + move(to="by")
        + move(machine="X"),
        files={
            "places.csv": PLACES + "out,gate,30,1\n",
            "soffits.geojson": geojson(
                feature(polygon(1, 1, 2, 2), id="a", level_m=2.5), feature(BOW_TIE, id="b", level_m=55)
            ),
        },
        then=lambda folder: write_levels(folder / "levels.tif", slope()[:, :30]),
    ),
)
