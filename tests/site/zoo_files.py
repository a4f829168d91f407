"""The zoo: names that lead out of the folder or nowhere, links in circles, and files that are not what they say."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import geopandas
import pandas
import pyogrio
from shapely.geometry import box

from tests.site.broken import Broken, key, other_file
from tests.site.folders import SITE, geojson

Change = Callable[[Path], object]


def replaced(file: str, by: Change) -> Change:
    """Take a file of the sound folder away and make something else in its place."""

    def change(folder: Path) -> None:
        (folder / file).unlink()
        by(folder / file)

    return change


def moved_out(file: str) -> Change:
    """Move a file out of the folder and leave a link to it."""

    def change(folder: Path) -> None:
        (folder / file).rename(folder.parent / file)
        (folder / file).symlink_to(folder.parent / file)

    return change


def in_a_circle(folder: Path) -> None:
    """Two links that lead to one another."""
    (folder / "boundary.geojson").unlink()
    (folder / "boundary.geojson").symlink_to("other.geojson")
    (folder / "other.geojson").symlink_to("boundary.geojson")


def huge(path: Path) -> None:
    """Write an empty file that claims to be five milliard bytes."""
    path.touch()
    os.truncate(path, 5_000_000_000)


def instead(of_folder: Change) -> Change:
    """Put something else where the folder is."""

    def change(folder: Path) -> None:
        shutil.rmtree(folder)
        of_folder(folder)

    return change


def written(file: str, *layers: str, **columns: list[object]) -> Change:
    """Write one sound square into each layer of a file."""

    def change(folder: Path) -> None:
        frame = geopandas.GeoDataFrame({"id": ["a"], **columns}, geometry=[box(1, 1, 2, 2)])
        for layer in layers or ("stock",):
            pyogrio.write_dataframe(frame, folder / file, layer=layer)

    return change


def then(*changes: Change) -> Change:
    """Make several changes in a row."""

    def change(folder: Path) -> None:
        for one in changes:
            one(folder)

    return change


def sql(statement: str, *values: bytes) -> Change:
    """Write a GeoPackage and change it behind its back."""

    def change(folder: Path) -> None:
        written("stock.gpkg")(folder)
        with sqlite3.connect(folder / "stock.gpkg") as base:
            for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
                base.create_function(name, 1, lambda _: 0)
            base.execute("DELETE FROM gpkg_extensions")
            base.execute(statement, values)
        base.close()

    return change


def table_only(folder: Path) -> None:
    """Write a table without outlines."""
    pyogrio.write_dataframe(pandas.DataFrame({"id": ["a"], "geometry": ["x"]}), folder / "stock.gpkg", layer="stock")


def edited(file: str, edit: Callable[[bytes], bytes]) -> Change:
    """Change the bytes of a file."""
    return lambda folder: (folder / file).write_bytes(edit((folder / file).read_bytes()))


SHAPEFILE = written("stock.shp", kind=["stål"])

ANIMALS = (
    key("an absolute name", '"levels.tif"', '"/etc/levels.tif"', """
site.toml
  - levels, file: "/etc/levels.tif" leads out of the site folder
    mend: copy the file into the folder [path-outside]
"""),
    key("a name that leads up", '"levels.tif"', '"../site/levels.tif"', """
site.toml
  - levels, file: "../site/levels.tif" leads out of the site folder
    mend: copy the file into the folder [path-outside]
"""),
    key("a name that leads up with backslashes", '"levels.tif"', '"surveys\\\\..\\\\..\\\\levels.tif"', r"""
site.toml
  - levels, file: "surveys\..\..\levels.tif" leads out of the site folder
    mend: copy the file into the folder [path-outside]
"""),
    key("a name on a drive", '"levels.tif"', '"C:\\\\levels.tif"', r"""
site.toml
  - levels, file: "C:\levels.tif" leads out of the site folder
    mend: copy the file into the folder [path-outside]
"""),
    key("a file that is not there", '"boundary.geojson"', '"border.geojson"', """
site.toml
  - site, boundary: there is no file "border.geojson"
    mend: check the spelling, or add the file [file-missing]
"""),
    key("a file in a file", '"levels.tif"', '"boundary.geojson/levels.tif"', """
site.toml
  - levels, file: there is no file "boundary.geojson/levels.tif"
    mend: check the spelling, or add the file [file-missing]
"""),
    key("the folder as a file", '"levels.tif"', '"."', """
site.toml
  - levels, file: "." is a folder, not a file
    mend: name the file in it [not-a-file]
"""),
    key("a name that the disk cannot hold", '"levels.tif"', f'"{"階" * 100}.tif"', """
site.toml
  - levels, file:
    "階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階階.tif"
    cannot be opened: File name too long
    mend: check its name and the disk [file-unreadable]
"""),
    key("levels of an unknown kind", '"levels.tif"', '"boundary.geojson"', """
boundary.geojson
  - no reader for ".geojson"
    mend: give a GeoTIFF (.tif) or a CSV of x,y,z [format-unknown]
"""),
    Broken("a folder where a file should be", """
site.toml
  - site, boundary: "boundary.geojson" is a folder, not a file
    mend: name the file in it [not-a-file]
""", then=replaced("boundary.geojson", Path.mkdir)),
    Broken("a pipe where a file should be", """
site.toml
  - site, boundary: "boundary.geojson" is a device or a pipe, not a file
    mend: copy its content into a file [not-a-file]
""", then=replaced("boundary.geojson", os.mkfifo)),
    Broken("an empty file", """
site.toml
  - levels, file: the file "levels.tif" is empty
    mend: write it, or export it again [file-empty]
  - site, boundary: the file "boundary.geojson" is empty
    mend: write it, or export it again [file-empty]
""", files={"boundary.geojson": "", "levels.tif": ""}),
    Broken("a huge file", """
site.toml
  - levels, file: "levels.tif" holds 5,000,000,000 bytes, at most 4,000,000,000 are read
    mend: cut it to the site; larger data fit into a GeoPackage or a GeoTIFF [file-too-large]
  - site, boundary: "boundary.geojson" holds 5,000,000,000 bytes, at most 100,000,000 are read
    mend: cut it to the site; larger data fit into a GeoPackage or a GeoTIFF [file-too-large]
""", then=then(lambda f: huge(f / "boundary.geojson"), lambda f: huge(f / "levels.tif"))),
    Broken("a link out of the folder", """
site.toml
  - levels, file: "levels.tif" leads out of the site folder
    mend: copy the file into the folder [path-outside]
""", then=moved_out("levels.tif")),
    Broken("site.toml itself outside", """
site.toml
  - "site.toml" leads out of the site folder
    mend: copy the file into the folder [path-outside]
""", then=moved_out("site.toml")),
    Broken("a link to itself", """
site.toml
  - levels, file: the link "levels.tif" leads round in a circle
    mend: replace the link by the file [link-loop]
""", then=replaced("levels.tif", lambda path: path.symlink_to(path.name))),
    Broken("two links in a circle", """
site.toml
  - site, boundary: the link "boundary.geojson" leads round in a circle
    mend: replace the link by the file [link-loop]
""", then=in_a_circle),
    Broken("site.toml as a link to itself", """
site.toml
  - the link "site.toml" leads round in a circle
    mend: replace the link by the file [link-loop]
""", then=replaced("site.toml", lambda path: path.symlink_to(path.name))),
    Broken("a folder that is a link to itself", """
site
  - the folder cannot be opened: Too many levels of symbolic links
    mend: check the path [folder-missing]
""", then=instead(lambda folder: folder.symlink_to(folder))),
    Broken("no folder", """
site
  - there is no such folder
    mend: check the path [folder-missing]
""", then=instead(lambda folder: None)),
    Broken("a file for a folder", """
site
  - this is a file, not a site folder
    mend: give the folder with site.toml [folder-missing]
""", then=instead(Path.touch)),
    Broken("an empty folder", """
site.toml
  - there is no file "site.toml"
    mend: check the spelling, or add the file [file-missing]
""", then=instead(Path.mkdir)),
    other_file(
        "a layer of an unknown kind", "stock.dwg", lambda folder: (folder / "stock.dwg").write_bytes(b"AC1032"), """
stock.dwg
  - no reader for ".dwg"
    mend: give a .gpkg, .geojson, .json, .shp or .csv file [format-unknown]
"""
    ),
    other_file(
        "a GeoPackage that is none",
        "stock.gpkg",
        lambda folder: (folder / "stock.gpkg").write_text("<OGRVRTDataSource/>"),
        """
stock.gpkg
  - the file is not what its ending says
    mend: export it again [file-unreadable]
""",
    ),
    other_file(
        "a damaged GeoPackage",
        "stock.gpkg",
        then(written("stock.gpkg"), edited("stock.gpkg", lambda old: old[:20_000])),
        """
stock.gpkg
  - is damaged: it cannot be read to its end
    mend: export it again [file-unreadable]
""",
    ),
    other_file(
        "a GeoPackage that another program is writing",
        "stock.gpkg",
        then(written("stock.gpkg"), lambda folder: (folder / "stock.gpkg-wal").write_bytes(b"x")),
        """
stock.gpkg
  - another program still holds changes to this file
    mend: save and close it there [file-open-elsewhere]
""",
    ),
    other_file(
        "a GeoPackage left in the middle of a change",
        "stock.gpkg",
        then(written("stock.gpkg"), lambda folder: (folder / "stock.gpkg-journal").write_bytes(b"x")),
        """
stock.gpkg
  - another program still holds changes to this file
    mend: save and close it there [file-open-elsewhere]
""",
    ),
    other_file("a GeoPackage without outlines", "stock.gpkg", table_only, """
stock.gpkg
  - nothing is drawn in it, it is a table only
    mend: export it with its outlines [geometry-empty]
"""),
    other_file(
        "a GeoPackage that claims more rows than it holds",
        "stock.gpkg",
        sql("UPDATE gpkg_ogr_contents SET feature_count = 300000000"),
        """
stock.gpkg
  - claims 300,000,000 rows, more than its bytes can hold
    mend: export it again [file-unreadable]
""",
    ),
    other_file(
        "a GeoPackage with text in another encoding",
        "stock.gpkg",
        sql("UPDATE stock SET id = CAST(? AS TEXT)", b"\xff\xfe"),
        """
stock.gpkg
  - its text is in another encoding than the file states
    mend: export it again in UTF-8 [not-utf-8]
""",
    ),
    other_file(
        "a GeoPackage with an outline that is none",
        "stock.gpkg",
        sql("UPDATE stock SET geom = ?", b"GP\0\1\0\0\0\0\1\x0f\0\0\0"),
        """
stock.gpkg
  - feature a: it has no geometry that can be read
    mend: draw it, or delete the row [geometry-empty]
""",
    ),
    other_file(
        "a name that the reader of GeoPackages takes for an archive",
        "old!stock.gpkg",
        then(written("stock.gpkg"), lambda folder: (folder / "stock.gpkg").rename(folder / "old!stock.gpkg")),
        """
old!stock.gpkg
  - its path holds a "!", which cannot be read
    mend: rename the file or folder [file-unreadable]
""",
    ),
    Broken(
        "layers that are not named, or wrongly",
        """
all.gpkg
  - the file holds 2 layers: obstacles, soffits
    mend: name one: {file = "...", layer = "..."} [layer-missing]

all.gpkg layer soffit
  - the file has no layer "soffit"
    mend: it has: obstacles, soffits [layer-missing]

areas.geojson layer north
  - a .geojson file has no named layers
    mend: name the file only [layer-missing]
""",
        toml=SITE + '[layers]\nobstacles = "all.gpkg"\nsoffits = {file = "all.gpkg", layer = "soffit"}\n'
        'areas = {file = "areas.geojson", layer = "north"}\n',
        files={"areas.geojson": geojson()},
        then=written("all.gpkg", "obstacles", "soffits"),
    ),
    other_file(
        "a Shapefile that is none",
        "stock.shp",
        then(SHAPEFILE, edited("stock.shp", lambda old: b"junk" + old[4:])),
        """
stock.shp
  - the file is not what its ending says
    mend: export it again [file-unreadable]
""",
    ),
    other_file(
        "a Shapefile without its parts",
        "stock.shp",
        then(SHAPEFILE, lambda folder: (folder / "stock.dbf").unlink(), lambda folder: (folder / "stock.shx").unlink()),
        """
site.toml
  - layers, obstacles: the Shapefile "stock.shp" lacks its .dbf part
    mend: copy all its parts [file-missing]
  - layers, obstacles: the Shapefile "stock.shp" lacks its .shx part
    mend: copy all its parts [file-missing]
""",
    ),
    other_file("a Shapefile with a part outside", "stock.shp", then(SHAPEFILE, moved_out("stock.dbf")), """
site.toml
  - layers, obstacles: "stock.dbf" leads out of the site folder
    mend: copy the file into the folder [path-outside]
"""),
    other_file(
        "a Shapefile with text in another encoding",
        "stock.shp",
        then(SHAPEFILE, edited("stock.dbf", lambda old: old.replace("å".encode(), b"\xe5 "))),
        """
stock.shp
  - its text is in another encoding than the file states
    mend: export it again in UTF-8 [not-utf-8]
""",
    ),
    other_file(
        "a Shapefile whose index claims half a milliard rows",
        "stock.shp",
        then(SHAPEFILE, edited("stock.shx", lambda old: old[:24] + (2_000_000_050).to_bytes(4) + old[28:])),
        """
stock.shp
  - is damaged: it cannot be read to its end
    mend: export it again [file-unreadable]
""",
    ),
)
