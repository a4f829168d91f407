"""The zoo: CSV files as spreadsheets leave them, outlines drawn by several rows, and spot levels."""

from __future__ import annotations

from tests.site.broken import Broken, csv_levels, text

HEAD = "id,width_m,shape,n,x,y\n"


def obstacles(name: str, rows: str, faults: str) -> Broken:
    """Give the site obstacles drawn corner by corner."""
    return text(name, "obstacles", "csv", HEAD + rows, faults)


NUMBERED = """\
    mend: number the corners of each outline 1, 2, 3 and so on in the order round it; each outline has its own
          id [corner-number]"""

ANIMALS = (
    obstacles("corners that are not numbered", "a,,area,1,1,1\na,,area,,2,1\na,,area,two,2,2\na,,area,2.5,1,2\n", f"""
obstacles.csv
  - line 3: n = '' is no number of a corner
{NUMBERED}
  - line 4: n = 'two' is no number of a corner
{NUMBERED}
  - line 5: n = '2.5' is no number of a corner
{NUMBERED}
"""),
    obstacles("a corner that got lost", "a,,area,1,1,1\na,,area,2,2,1\na,,area,4,1,2\n", f"""
obstacles.csv
  - feature a: corner 3 is missing
{NUMBERED}
"""),
    obstacles("two outlines of one name", "a,0.1,line,1,1,1\na,,,2,2,1\na,0.1,line,1,5,5\na,,,2,6,5\n", f"""
obstacles.csv
  - feature a: corner 1 stands twice, in lines 2 and 4
{NUMBERED}
  - feature a: corner 2 stands twice, in lines 3 and 5
{NUMBERED}
"""),
    obstacles("corners without a shape", "a,0.1,,1,1,1\na,,,2,2,1\nb,,point,1,3,3\n", """
obstacles.csv
  - feature a: its rows have numbers n, but no shape
    mend: write line or area into shape; leave n empty for a point [csv-layout]
  - feature b: its rows have numbers n, and as shape "point"
    mend: write line or area into shape; leave n empty for a point [csv-layout]
"""),
    obstacles("a shape that is none", "a,0.1,polygn,,1,1\n", """
obstacles.csv
  - line 2: shape = 'polygn' is no shape
    mend: Known: area, line, point [unknown-value]
"""),
    obstacles("too few corners", "a,,area,1,1,1\na,,area,2,2,1\na,,area,3,1,1\nb,0.1,line,1,1,1\n", """
obstacles.csv
  - feature a: it is drawn as an area with 2 corner(s)
    mend: give at least 3 rows in different places [csv-layout]
  - feature b: it is drawn as a line with 1 corner(s)
    mend: give at least 2 rows in different places [csv-layout]
"""),
    obstacles("rows of a feature that disagree", "a,0.1,line,1,1,1\na,0.2,area,2,2,1\n", """
obstacles.csv
  - feature a: shape is "line" in line 2 and "area" in line 3
    mend: say the same in all rows of a feature, or say it in one of them; another feature needs another id
          [rows-disagree]
  - feature a: width_m is "0.1" in line 2 and "0.2" in line 3
    mend: say the same in all rows of a feature, or say it in one of them; another feature needs another id
          [rows-disagree]
"""),
    obstacles("corners that are no places", 'a,0.1,line,1,"1,5",1\na,,,2,inf,1\na,,,3,,1\n', """
obstacles.csv
  - line 3: a coordinate is NaN or infinite
    mend: give it in site metres [coordinates-not-finite]
  - line 2: x = '1,5', y = '1': a number is written with a comma
    mend: give both in site metres with decimal points [geometry-unreadable]
  - line 4: x = '', y = '1' is no place
    mend: give both in site metres with decimal points [geometry-unreadable]
"""),
    text("an outline of a layer that takes areas", "surfaces", "csv", "id,shape,n,x,y\na,line,1,1,1\na,,2,2,2\n", """
surfaces.csv
  - feature a: it is a LineString
    mend: this layer takes an area [geometry-type]
"""),
    text("an outline and a wkt in one row", "surfaces", "csv", "id,n,x,y,wkt\na,1,1,1,POINT (1 2)\n", """
surfaces.csv
  - line 2: it has a wkt and a shape or n
    mend: leave shape and n empty beside a wkt [csv-layout]
"""),
    text("a CSV whose first line is one cell", "places", "csv", '"id,kind,x,y"\n"a,gate,1,1"\n', """
places.csv
  - its whole first line is one cell
    mend: choose the comma as separator when the spreadsheet opens the file, and save it again [csv-layout]
"""),
    text("a CSV with decimal commas that split cells", "places", "csv", "id,kind,x,y\na,gate,1,5,1\n", """
places.csv
  - line 2: has 5 cells, the header 4
    mend: give each column one cell, and write decimal points: a decimal comma makes two cells of one
          [csv-layout]
"""),
    text("a CSV that was opened as another text than UTF-8", "places", "csv", "\u00ef\u00bb\u00bfid,x,y\na,1,1\n", """
places.csv
  - was taken for another text than UTF-8 and saved so
    mend: choose UTF-8 when the spreadsheet opens the file, from a copy that it has not saved yet [not-utf-8]
"""),
    text("a CSV with two columns without a name", "places", "csv", "id,,,x,y\na,,,1,1\n", """
places.csv
  - two columns have no name
    mend: name each column once [csv-layout]
"""),
    csv_levels("spot levels to the millimetre", "x,y,z\n0.001,0.001,50\n" + "".join(
        f"{0.001 * (7919 * n % 20000):.3f},{0.001 * (6007 * n % 10000):.3f},50\n" for n in range(200)
    ), """
levels.csv
  - holds spot levels, no grid: 201 of 201 lack the neighbours that a square grid would give them
    mend: have them made into a square grid, x,y,z of each node or a GeoTIFF, by whoever surveyed them: what
          lies between spot levels would be a guess here [levels-irregular]
"""),
    csv_levels("levels on every other node", "x,y,z\n" + "".join(
        f"{x},{y},50\n" for x in range(21) for y in range(11) if (x + y) % 2
    ), """
levels.csv
  - holds spot levels, no grid: 115 of 115 lack the neighbours that a square grid would give them
    mend: have them made into a square grid, x,y,z of each node or a GeoTIFF, by whoever surveyed them: what
          lies between spot levels would be a guess here [levels-irregular]
"""),
    csv_levels("levels with decimal commas", 'x,y,z\n0,0,"1,5"\n1,0,"1,5"\n0,1,"1,5"\n1,1,"1,5"\n', """
levels.csv
  - line 2: 4 line(s) from here on are not a place on earth and a level
    mend: give x, y and z with decimal points; leave z empty where it is unknown [csv-layout]
  - has 0 usable node(s)
    mend: give at least 2 x 2 nodes [raster-too-small]
"""),
)  # fmt: skip
