"""Lattices of a site's machines: made as moves ask for them, from what was looked at before where that stays true."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace

from routeplan.hazards.edges import accepted_on, driven_over
from routeplan.hazards.prepare import Encounter, Hazards, encounter
from routeplan.hazards.terrain import Terrain, build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.aids import Aids
from routeplan.plan.outcome import k_of
from routeplan.plan.steer import coordinated_turn, turn_radius_m
from routeplan.plan.tiles import Closed, Tiles, name_of
from routeplan.search.known import Before
from routeplan.search.lattice import CheckedLattice
from routeplan.search.motions import Motions, solve_motions
from routeplan.site.model import MoveWanted, Site

#: A route may be this many times as long as the site is long and wide before its k must be found afresh.
LENGTHS_OF_SITE = 2.0
#: Machine, configuration, travel mode, surfaces that are accepted for it, defects that it may drive over.
Key = tuple[str, str, str, frozenset[str], frozenset[str]]


@dataclass(eq=False)
class Lattices:
    """The lattices of one site, by machine and conditions; days that change nothing for a machine share one."""

    site: Site
    terrain: Terrain
    aids: Aids
    _met: dict[tuple[str, str, str], Encounter] = field(default_factory=dict)
    _made: dict[Key, dict[Closed, CheckedLattice]] = field(default_factory=dict)
    _names: dict[Key, str] = field(default_factory=dict)

    def apart(self) -> Lattices:
        """The same that keep to themselves what is made from now on."""
        return replace(self, _made={key: dict(of) for key, of in self._made.items()})

    def keep(self) -> None:
        """Keep for later runs what was looked at with fewest areas closed."""
        for key, made in self._made.items():
            closed = min(made, key=len)
            self.aids.store.keep(self._names[key], Tiles(closed, made[closed].looked), self._given)

    def of(self, wanted: MoveWanted, machine: Machine) -> CheckedLattice:
        """The lattice of a machine under the conditions of a day."""
        configuration = machine.configuration_in(wanted.configuration, wanted.travel_mode)
        shape = machine.configurations[configuration]
        closed = frozenset(area.id for area in self.site.areas if area.closed_on(wanted.on))
        day, wet, site = wanted.on, wanted.wet, self.site
        accepted = frozenset(s.id for s in site.surfaces if accepted_on(s, machine, shape, day, wet=wet))
        over = frozenset(d.id for d in site.defects if driven_over(d, machine, shape, day))
        key = machine.id, configuration, wanted.travel_mode, accepted, over
        made = self._made.setdefault(key, {})
        if closed not in made:
            self.aids.progress(f"{wanted.id}: reading the ground for {machine.id}", 0)
            made[closed] = self._new(key, wanted, machine)
        return made[closed]

    def of_part(self, part: Site, wanted: MoveWanted, machine: Machine, *, closer: bool) -> CheckedLattice:
        """The lattice of a part of the site, with a closer look at the ground or without; not kept."""
        terrain = build_terrain(part.ground, part.grid)
        motions, met = _motions(machine, part, terrain), self._encounter(wanted, machine, part, terrain)
        hazards = met.on(wanted.on, travel_m=motions.travel_m, wet=wanted.wet)
        return self._checked(part, hazards.closer() if closer else hazards, motions, machine, None)

    def _new(self, key: Key, wanted: MoveWanted, machine: Machine) -> CheckedLattice:
        """A lattice from the one of those known that has most areas closed of those that are; else afresh."""
        site, motions = self.site, _motions(machine, self.site, self.terrain)
        shut = {area.id: area for area in site.areas if area.closed_on(wanted.on)}
        known = self._known(key, machine, motions, shut.keys())
        fewer = max(known, key=lambda one: len(one.closed), default=None)
        if fewer is None:
            if key[:3] not in self._met:
                self._met[key[:3]] = self._encounter(wanted, machine, site, self.terrain)
            met = replace(self._met[key[:3]], site=site)
            hazards = met.on(wanted.on, travel_m=motions.travel_m, wet=wanted.wet)
            return self._checked(site, hazards, motions, machine, None)
        looked = fewer.looked.apart() if fewer.closed in self._made[key] else fewer.looked
        besides = looked.besides([area for name, area in shut.items() if name not in fewer.closed])
        hazards = looked.hazards.with_closed(besides, site, machine, wanted.on, wet=wanted.wet)
        return self._checked(site, hazards, motions, machine, looked.with_closed(besides))

    def _known(self, key: Key, machine: Machine, motions: Motions, shut: Collection[str]) -> Iterator[Tiles]:
        """What was looked at with no area closed but those that are, in this run or before it."""
        if key not in self._names:
            made_of = *key[:3], *map(sorted, key[3:]), self._k(), motions.sha256()
            self._names[key] = name_of(self.site, machine, *made_of)
        found = [Tiles(closed, lattice.looked) for closed, lattice in self._made[key].items()]
        before = None if found else self.aids.store.load(self._names[key], self._given)
        yield from (one for one in (*found, before) if one is not None and one.closed <= set(shut))

    @property
    def _given(self) -> dict[str, object]:
        """What every run makes for itself, so that no tiles have it."""
        return {"terrain": self.terrain, "levels": self.terrain.levels}

    def _checked(
        self, site: Site, hazards: Hazards, motions: Motions, machine: Machine, before: Before | None
    ) -> CheckedLattice:
        def told(count: int) -> None:
            self.aids.progress(f"{machine.id}: checking motions", count)

        return CheckedLattice(site, hazards, motions, told, before)

    def _encounter(self, wanted: MoveWanted, machine: Machine, site: Site, terrain: Terrain) -> Encounter:
        configuration = machine.configuration_in(wanted.configuration, wanted.travel_mode)
        mode = wanted.travel_mode
        return encounter(
            site, machine, configuration=configuration, travel_mode=mode, k=self._k(), terrain=terrain
        )

    def _k(self) -> float:
        west, south, east, north = self.site.boundary.bounds
        return k_of(self.site, LENGTHS_OF_SITE * float(east - west + north - south))


def _motions(machine: Machine, site: Site, terrain: Terrain) -> Motions:
    return solve_motions(
        headings=site.grid.headings, cell_m=terrain.cell_m * terrain.stride, radius_m=turn_radius_m(machine),
        pivots=machine.value("pivots") == 1.0,
        pivot_arm_m=max(math.hypot(wheel.xi_m, wheel.eta_m) for wheel in machine.wheels),
        coordinated=coordinated_turn(machine), crab_rad=machine.crab_rad,
    )  # fmt: skip
