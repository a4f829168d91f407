"""The zoo: overhead lines whose height or voltage cannot be, and tables of safety distances that are none."""

from __future__ import annotations

from tests.site.broken import Broken
from tests.site.folders import SITE, feature, geojson, line, point

WIRE = line((1, 1), (9, 1))
TABLE = (
    "over_kv,up_to_kv,distance_m,per_kv_m,scope,source\n"
    "0,1,1.0,,invented for a test,invented for a test\n"
    "1,33,3.0,0.1,invented for a test,invented for a test\n"
)
NAMES_ONE = '[overhead_lines]\nsafety_distances = "t.csv"\n'
TOML = SITE + '[layers]\noverhead_lines = "o.geojson"\n'
HIGH = {"corridor_m": 1, "voltage_kv": 11, "sag_m": 0.5}


def table(name: str, text: str, faults: str) -> Broken:
    """A folder with a table of its own, and a line that asks for 11 kV."""
    wire = geojson(feature(WIRE, id="wire", corridor_m=1, voltage_kv=11))
    return Broken(name, faults, toml=TOML + NAMES_ONE, files={"t.csv": text, "o.geojson": wire})


ANIMALS = (
    Broken(
        "lines with heights and voltages that cannot be",
        """
o.geojson
  - feature pole: it is a Point
    mend: this layer takes an area or a line [geometry-type]
  - feature both: it has both level_m and clear_m
    mend: give its level, or its height above the ground, not both [line-height]
  - feature height: it hangs at 7.00 m, the ground there at 50.01 to 50.26 m
    mend: level_m is a level in the site's datum; give a height above the ground as clear_m [line-height]
  - feature nowhere: its height is measured from ground that has no known level
    mend: give level_m, or levels there [line-height]
  - feature sky: it hangs at 157.00 m, the ground there at 50.01 to 50.26 m
    mend: level_m is a level in the site's datum; give a height above the ground as clear_m [line-height]
  - feature unvolted: it has a height and no voltage_kv
    mend: give its voltage, or leave its height out: without a safety distance nothing passes under it
          [line-height]
  - feature dead: voltage_kv = 0 is outside the sane range
    mend: give a value above 0 to 2000 [out-of-range]
  - feature sure: sigma_m = 0 is outside the sane range
    mend: give a value above 0 to 10 [out-of-range]
  - feature under: clear_m = -7 is outside the sane range
    mend: give a value above 0 to 100 [out-of-range]
  - feature beyond: t.csv does not speak of 33.1 kV
    mend: name a table that does, or ask the line's owner for the distance and add a row with that source
          [safety-distance]
  - feature unsagged: it has no sag_m
    mend: give how much lower than measured it may come, 0 if it cannot [value-missing]
""",
        toml=TOML + NAMES_ONE,
        files={
            "t.csv": TABLE,
            "o.geojson": geojson(
                feature(WIRE, id="both", level_m=57, clear_m=7, **HIGH),
                feature(WIRE, id="unvolted", corridor_m=1, clear_m=7, sag_m=0),
                feature(WIRE, id="unsagged", corridor_m=1, voltage_kv=11, clear_m=7),
                feature(WIRE, id="height", level_m=7, **HIGH),
                feature(WIRE, id="sky", level_m=157, **HIGH),
                feature(line((-500, 300), (-400, 300)), id="nowhere", clear_m=7, **HIGH),
                feature(WIRE, id="beyond", corridor_m=1, voltage_kv=33.1),
                feature(WIRE, id="dead", corridor_m=1, voltage_kv=0),
                feature(WIRE, id="under", clear_m=-7, **HIGH),
                feature(WIRE, id="sure", clear_m=7, sigma_m=0, **HIGH),
                feature(point(1, 1), id="pole", clear_m=7, **HIGH),
            ),
        },
    ),
    Broken(
        "a voltage, and no table named",
        """
o.geojson
  - feature wire: it carries 11 kV, and no table says what distance that asks for
    mend: name the table that holds here, in site.toml: [overhead_lines] safety_distances = "..."
          [safety-distance]
""",
        toml=TOML,
        files={"o.geojson": geojson(feature(WIRE, id="wire", corridor_m=1, voltage_kv=11))},
    ),
    Broken(
        "a table of safety distances that is not there",
        """
site.toml
  - overhead_lines, safety_distances: there is no file "t.csv"
    mend: check the spelling, or add the file [file-missing]
""",
        toml=TOML + NAMES_ONE,
        files={"o.geojson": geojson(feature(WIRE, id="wire", corridor_m=1, voltage_kv=11))},
    ),
    Broken(
        "a table named by a number",
        """
site.toml
  - overhead_lines, safety_distances: 11 is not text
    mend: write text in quotes [wrong-type]
""",
        toml=TOML + "[overhead_lines]\nsafety_distances = 11\n",
        files={"o.geojson": geojson(feature(WIRE, id="wire", corridor_m=1, voltage_kv=11))},
    ),
    table(
        "a table of safety distances with rows that cannot be",
        "over_kv,up_to_kv,distance_m,scope,source,note\n"
        "0,10,1,cranes,law,\n"
        "5,20,2,cranes,law,\n"
        "40,30,3,cranes,law,\n"
        "50,60,,cranes,law,\n"
        "60,70,3,,law,\n"
        "70,80,3,cranes,,\n"
        ",90,3,cranes,law,\n"
        '90,100,"3,5",cranes,law,\n'
        "100,110,3\n",
        """
t.csv
  - line 10: has 3 cells, the header 6
    mend: give each column one cell, and write decimal points: a decimal comma makes two cells of one
          [csv-layout]
  - two rows speak of 5 to 10 kV
    mend: let each row begin where the one before it ends [safety-distance]
  - line 4: it runs from over 40 up to 30 kV
    mend: write the lower voltage in over_kv [safety-distance]
  - column "note" is not read
    mend: it holds over_kv, up_to_kv, distance_m, per_kv_m, scope, source and nothing else [unknown-column]
  - line 5: it has no distance_m
    mend: give the distance, metres [value-missing]
  - line 6: it has no scope
    mend: say whom and what the distance is for, and where it is published, in every row [value-missing]
  - line 7: it has no source
    mend: say whom and what the distance is for, and where it is published, in every row [value-missing]
  - line 8: it has no over_kv
    mend: write 0 in the first row [value-missing]
  - line 9: distance_m = '3,5' is written with a comma
    mend: write digits with a decimal point, without a unit [wrong-type]
""",
    ),
    table(
        "a table of safety distances without a row",
        TABLE.splitlines()[0],
        """
t.csv
  - it has no rows
    mend: copy the table that holds on this site into it [safety-distance]
""",
    ),
)
