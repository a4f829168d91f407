"""Read a site folder into one frozen `Site`, or name every fault in it at once."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from shapely.geometry import Polygon

from routeplan.errors import BadInput
from routeplan.machine.model import Machine
from routeplan.machine.read import build_machine
from routeplan.site import consistency, features
from routeplan.site.changes import NO_CHANGE, Change, with_delivered
from routeplan.site.columns import check_names, matched
from routeplan.site.crs import UNKNOWN, SiteCrs, site_crs
from routeplan.site.departures import Understood, check_values, parse
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.faults import Door, Faults, Unreadable
from routeplan.site.features import Value
from routeplan.site.ground import read_ground
from routeplan.site.layers import SHAPEFILE_PARTS, RawFeature, read_features
from routeplan.site.lines import LineReader, SafetyTable, check_lines, read_safety_table
from routeplan.site.model import (
    Accuracy,
    Contact,
    GridSpec,
    Ground,
    InputFile,
    MoveWanted,
    Site,
    Surface,
    Thresholds,
)
from routeplan.site.outlines import checked
from routeplan.site.paths import cannot_open, check_folder, find_file
from routeplan.site.reading import Reading
from routeplan.site.readings import check_readings, put_right, readings
from routeplan.site.schema import DECLARED_NONE, LayerRef, LayersSection, LevelsSection, SiteFile
from routeplan.site.text import read_text

SITE_FILE = "site.toml"


def read_site(folder: Path, change: Change = NO_CHANGE) -> Site:
    """Read and check a site folder.

    Parameters
    ----------
    folder
        Folder that holds ``site.toml``; ``docs/site-folder.md`` describes it.
    change
        What it does not have yet.

    Returns
    -------
    Site
        The site, with every file it was read from listed by hash.

    Raises
    ------
    BadInput
        With every fault that was found, not the first.
    """
    faults = Faults()
    reader = _Reader(folder, faults, change)
    values = reader.toml()
    given = None if values is None else parse(values, faults=faults)
    site = None if given is None else reader.site(given)
    faults.raise_if_any()
    assert site is not None  # what could not be read has left a fault
    return site


@dataclass
class _Reader:
    """One reading of one folder: what was found and which files were read."""

    folder: Path
    faults: Faults
    change: Change
    door: Door = field(init=False)
    hashes: dict[str, str] = field(default_factory=dict)
    #: Ids in the boundary and each layer given, also those at fault; None for one that could not be read.
    named: dict[str, set[str] | None] = field(default_factory=dict)
    #: Boundary, levels and layers in other coordinates than the site's: their places are held against nothing.
    misplaced: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.door = Door(self.faults)

    def toml(self) -> Mapping[str, Any] | None:
        """Decode ``site.toml``."""
        try:
            check_folder(self.folder, site_file=SITE_FILE)
        except Unreadable as error:
            self.faults.refuse(self.folder.name or str(self.folder), error)
            return None
        path = self.path_of(SITE_FILE, where=SITE_FILE)
        try:
            return None if path is None else _decoded(read_text(path))
        except Unreadable as error:
            self.faults.refuse(SITE_FILE, error)
            return None

    def path_of(self, name: str, *, where: str) -> Path | None:
        """Return the file behind a name in ``site.toml`` and note its hash; None with a fault if it may not be read."""
        try:
            path = find_file(self.folder, name)
            try:
                with path.open("rb") as stream:
                    digest = hashlib.file_digest(stream, "sha256").hexdigest()
            except OSError as error:
                raise cannot_open(name, error) from error
        except Unreadable as error:
            self.faults.refuse(where, error)
            return None
        self.hashes[PurePosixPath(name.replace("\\", "/")).as_posix()] = digest
        return path

    def vector_path(self, name: str, *, where: str) -> Path | None:
        """Return a vector file as `path_of` does; every part of a Shapefile is noted and kept to the folder."""
        path = self.path_of(name, where=where)
        if path is None or path.suffix.lower() != ".shp":
            return path
        stem, found = PurePosixPath(name.replace("\\", "/")).with_suffix(""), {path.suffix.lower()}
        try:
            beside = sorted(path.parent.iterdir())
        except OSError as error:
            self.faults.refuse(where, cannot_open(str(stem.parent), error))
            return None
        for part in beside:
            ending = part.suffix.lower()
            if part.stem == path.stem and ending in SHAPEFILE_PARTS and part != path:
                found.add(ending)
                if self.path_of(str(stem.with_suffix(part.suffix)), where=where) is None:
                    return None
        for ending in (".shx", ".dbf"):
            if ending not in found:
                self.faults.add(
                    "file-missing", where, f'the Shapefile "{name}" lacks its {ending} part', "copy all its parts"
                )
        return path if {".shx", ".dbf"} <= found else None

    def rows(self, name: str, ref: LayerRef, crs: SiteCrs) -> tuple[RawFeature, ...] | None:
        """Return the rows of a layer; None when there was no file to read."""
        table = "site" if name == "boundary" else "layers"
        path = self.vector_path(ref.file, where=f"{SITE_FILE}, {table}, {name}")
        if path is None:
            return None
        label = f"{ref.file} layer {ref.layer}" if ref.layer else ref.file
        before = len(self.faults)
        raw = read_features(path, layer=ref.layer, label=ref.file, site=crs, faults=self.faults)
        self.place(name, before)
        rows = tuple(matched(row, name, short_names=path.suffix.lower() == ".shp") for row in raw)
        if rows:
            check_names(name, {column for row in rows for column in row.columns}, label=label, faults=self.faults)
        return rows if rows or len(self.faults) == before else None

    def place(self, name: str, before: int) -> None:
        """Note whether a file that was read since there were so many faults is in other coordinates than the site."""
        if any(fault.code.startswith("crs-") for fault in self.faults.found[before:]):
            self.misplaced.add(name)

    def boundary(self, ref: LayerRef, crs: SiteCrs) -> Polygon | None:
        """Return the one outline of the site."""
        rows = self.rows("boundary", ref, crs)
        self.named["boundary"] = None if rows is None else {row.id for row in rows if row.id}
        if rows is None:
            return None
        if len(rows) != 1:
            self.faults.add("boundary-one", ref.file, f"it holds {len(rows)} features", "give the boundary as one area")
            return None
        outline = checked(rows[0], kinds=("Polygon",), door=self.door)
        if outline is None:
            return None
        parts = list(getattr(outline, "geoms", [outline]))
        if len(parts) != 1:
            self.faults.add("boundary-one", ref.file, f"it has {len(parts)} parts", "give the boundary as one area")
            return None
        polygon: Polygon = parts[0]
        return polygon

    def layer(
        self, name: str, layers: LayersSection, crs: SiteCrs, builder: features.Builder[Value]
    ) -> tuple[Value, ...]:
        """Return the values of a layer; empty when nobody said or the site has none."""
        ref: LayerRef | None = getattr(layers, name)
        none = ref is None or ref.file == DECLARED_NONE
        rows = () if ref is None or none else self.rows(name, ref, crs)
        if not none:
            self.named[name] = None if rows is None else {row.id for row in rows if row.id}
        more = [row for layer, path in self.change.added if layer == name for row in self.added(name, path, crs)]
        return features.build((*(rows or ()), *more), builder, door=self.door)

    def added(self, name: str, path: Path, crs: SiteCrs) -> tuple[RawFeature, ...]:
        """Return the rows of a file that adds to a layer; it lies where whoever tells of the change has it."""
        try:
            found = find_file(path.parent, path.name)
        except Unreadable as error:
            self.faults.refuse(path.name, error)
            return ()
        rows = read_features(found, layer=None, label=path.name, site=crs, faults=self.faults)
        check_names(name, {column for row in rows for column in row.columns}, label=path.name, faults=self.faults)
        return rows

    def safety_table(self, understood: Understood) -> SafetyTable | None:
        """Return the table of safety distances that the site names, empty where it could not be read."""
        name = understood.file.overhead_lines.safety_distances
        if name is None:
            at_fault = {("overhead_lines",), ("overhead_lines", "safety_distances")} & understood.untold
            return SafetyTable("", (), whole=False) if at_fault else None
        path = self.path_of(name, where=f"{SITE_FILE}, overhead_lines, safety_distances")
        if path is None:
            return SafetyTable(name, (), whole=False)
        return read_safety_table(path, label=name, faults=self.faults)

    def ground(self, levels: LevelsSection, crs: SiteCrs) -> Ground | None:
        """Return the levels."""
        path = self.path_of(levels.file, where=f"{SITE_FILE}, levels, file")
        accuracy = Accuracy(**levels.model_dump(exclude={"file"}))
        if path is None or not crs.known:
            return None  # how far apart levels may stand depends on the unit
        before = len(self.faults)
        ground = read_ground(path, label=levels.file, accuracy=accuracy, site=crs, faults=self.faults)
        self.place("levels", before)
        return ground

    def put_right(self, ground: Ground | None, taken: tuple[Reading, ...], given: SiteFile) -> Ground | None:
        """Return the levels as readings put them right, as they are where the two do not belong together."""
        if ground is None or not taken or {"levels", "readings"} & self.misplaced:
            return ground
        before, ref = len(self.faults), given.layers.readings
        check_readings(taken, ground, label="readings" if ref is None else ref.file, faults=self.faults)
        return put_right(ground, taken) if len(self.faults) == before else ground

    def delivered(self) -> Iterator[tuple[str, Mapping[str, Any]]]:
        """Return the figures of machines that were delivered instead of those ordered, by the names of their files."""
        for path in (path for path in self.change.machines.values() if isinstance(path, Path)):
            try:
                yield path.stem, _decoded(read_text(find_file(path.parent, path.name)))
            except Unreadable as error:
                self.faults.refuse(path.name, error)

    def machines(self, specs: Mapping[str, Mapping[str, Any]]) -> dict[str, Machine]:
        """Return the machines that could be built."""
        machines: dict[str, Machine] = {}
        where = {machine_id: f"{SITE_FILE}, machines {machine_id}" for machine_id in specs}
        figures = dict(specs)
        for machine_id, spec in self.delivered():
            if machine_id in specs:
                mend = "give the file the name of the machine that was delivered"
                self.faults.add("machine-twice", f"{machine_id}.toml", f"the site has a machine {machine_id}", mend)
            figures[machine_id], where[machine_id] = spec, f"{machine_id}.toml"
        for machine_id, spec in figures.items():
            try:
                machines[machine_id] = build_machine(machine_id, spec, where=where[machine_id])
            except BadInput as error:
                self.faults.merge(error)
        return machines

    def site(self, understood: Understood) -> Site | None:
        """Return the site with everything in it that could be read; None without boundary and levels."""
        given, untold = understood.file, understood.untold
        crs = UNKNOWN
        if not {("site",), ("site", "crs")} & untold:
            crs = site_crs(given.site.crs, where=f"{SITE_FILE}, site, crs", faults=self.faults)
        self.door.repair = given.site.repair == "make_valid"
        boundary = None if {("site",), ("site", "boundary")} & untold else self.boundary(given.site.boundary, crs)
        ground = None if {("levels",), ("levels", "file")} & untold else self.ground(given.levels, crs)
        layers: dict[str, Any] = {"readings": self.layer("readings", given.layers, crs, readings)}
        ground = self.put_right(ground, layers["readings"], given)
        lines = LineReader(self.safety_table(understood), ground)
        layers |= {
            name: self.layer(name, given.layers, crs, builder)
            for name, builder in (_BUILDERS | {"overhead_lines": lines}).items()
        }
        if crs.known:
            parts = {"boundary": boundary, "levels": ground} | layers
            _check(given, {k: v for k, v in parts.items() if k not in self.misplaced}, faults=self.faults)
        machines = self.machines(given.machines)
        wanted = tuple(MoveWanted(**move.model_dump()) for move in given.moves)
        moves = with_delivered(wanted, self.change, given.machines, self.faults)
        self.check_moves(moves, machines, understood)
        self.check_examples(understood, layers["surfaces"], layers["elevated_zones"])
        if boundary is None or ground is None:
            return None
        stated = given.layers.model_dump(exclude_none=True)
        return Site(
            name=given.site.name,
            revision=given.site.revision,
            crs=crs.code,
            invented=given.site.invented,
            boundary=boundary,
            ground=ground,
            machines=machines,
            moves=moves,
            hire={name: given.hire.of(name) for name in machines},
            contacts=tuple(Contact(**contact.model_dump()) for contact in given.contacts),
            thresholds=Thresholds(**given.thresholds.model_dump()),
            grid=GridSpec(**given.grid.model_dump()),
            inputs=tuple(InputFile(path, self.hashes[path]) for path in sorted(self.hashes)),
            layers_given=frozenset(stated),
            repairs=tuple(self.door.repairs),
            line_corridors=layers.pop("overhead_lines"),
            **(layers | {"places": {place.id: place for place in layers["places"]}}),
        )

    def check_moves(self, moves: tuple[MoveWanted, ...], machines: Mapping[str, Machine], given: Understood) -> None:
        """Find moves that name what the site does not have; what could not be read is not held against them."""
        places = self.named.get("places", set())
        if {("layers",), ("layers", "places")} & given.untold and "places" not in self.named:
            places = None
        named = None
        if ("machines",) not in given.untold:
            named = {*given.file.machines, *(keys[1] for keys in given.untold if keys[0] == "machines"), *machines}
            consistency.check_hire(given.file.hire.machines, named, self.faults)
        consistency.check_moves(moves, places=places, machines=machines, named=named, faults=self.faults)

    def check_examples(
        self, understood: Understood, surfaces: Iterable[Surface], zones: Iterable[ElevatedZone]
    ) -> None:
        """Find examples of a new folder that were left in a site of which nobody says that it is invented."""
        given = understood.file
        if given.site.invented or {("site",), ("site", "invented")} & understood.untold:
            return
        files = {name: getattr(given.layers, name) for name in LayersSection.model_fields}
        files["boundary"] = given.site.boundary
        ids = [(files[layer].file, name) for layer, names in self.named.items() for name in sorted(names or ())]
        accepted = {("surfaces", one.id, one.acceptance.role) for one in surfaces if one.acceptance}
        accepted |= {("elevated_zones", one.id, one.acceptance.role) for one in zones if one.acceptance}
        roles = [
            (f"{files[layer].file}, feature {name}, accepted_by", role) for layer, name, role in sorted(accepted)
        ]
        consistency.check_examples(ids, roles, given.levels.survey, faults=self.faults)


_BUILDERS: dict[str, features.Builder[Any]] = {
    "obstacles": features.obstacles,
    "soffits": features.soffits,
    "surfaces": features.surfaces,
    "defects": features.defects,
    "walkways": features.walkways,
    "excavations": features.excavations,
    "areas": features.areas,
    "elevated_zones": features.elevated_zones,
    "places": features.places,
}


def _decoded(text: str) -> Mapping[str, Any]:
    """Return the values of a TOML text."""
    mend = "correct the line; words need quotes, days do not"
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Unreadable("toml-syntax", f"it is not TOML: {error}", mend) from error
    except (ValueError, RecursionError) as error:
        raise Unreadable("toml-syntax", "it is not TOML: a number or a nest of lists is far too long", mend) from error
    check_values(values)
    return values


def _check(given: SiteFile, parts: Mapping[str, Any], *, faults: Faults) -> None:
    """Compare the parts of the site with one another, as far as they could be read and lie where the site lies."""
    boundary: Polygon | None = parts.get("boundary")
    ground: Ground | None = parts.get("levels")
    layers: Mapping[str, Any] = {name: parts.get(name, ()) for name in LayersSection.model_fields}

    def label(name: str) -> str:
        ref: LayerRef | None = getattr(given.layers, name)
        return name if ref is None else ref.file

    if boundary is not None and ground is not None:
        consistency.check_cover(ground, boundary, label=given.levels.file, faults=faults)
    if ground is not None:
        consistency.check_soffits(layers["soffits"], ground, label=label("soffits"), faults=faults)
        check_lines(layers["overhead_lines"], ground, label=label("overhead_lines"), faults=faults)
        consistency.check_obstacles(layers["obstacles"], ground, label=label("obstacles"), faults=faults)
    if boundary is not None:
        for name in layers:
            outlines = [value.point if name == "places" else value.geometry for value in layers[name]]
            consistency.check_near(outlines, boundary, label=label(name), faults=faults)
    consistency.check_places(layers["places"], layers["obstacles"], boundary, label=label("places"), faults=faults)
