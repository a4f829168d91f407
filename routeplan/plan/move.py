"""One move planned: its lattice, its ends, the best way, and what that way says of itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.terrain import Terrain
from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_modelled
from routeplan.plan.aids import UNAIDED, Aids
from routeplan.plan.elevated import raised_for
from routeplan.plan.finer import look_finer
from routeplan.plan.frontier import nearest_misses, pose_blocked
from routeplan.plan.lattices import Lattices
from routeplan.plan.outcome import Outcome, no_way
from routeplan.plan.parted import parted_m
from routeplan.plan.portals import Portal, named_at
from routeplan.plan.profile import unmade_checks
from routeplan.plan.rounds import bounded, cheapest_round
from routeplan.plan.set_up import WORKFACE, set_up_at
from routeplan.plan.site_graph import SiteGraph, Stop, modes_of
from routeplan.plan.slippery import SPARES, on_what_holds, slips
from routeplan.plan.thrown import ROCKS_LESS, kept_off
from routeplan.plan.turned import turned_text
from routeplan.plan.way import Way
from routeplan.route.model import MOVE_VERDICTS, Move, NearMiss, Pose, heading_rad
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice, NotFound
from routeplan.site.changes import ALWAYS
from routeplan.site.model import MoveWanted, Site

Floats = NDArray[np.float64]
_NAN = math.nan


@dataclass(eq=False)
class MovePlanner:
    """Plans moves of one site, one after the other; lattices and the places where machines came to stand are kept.

    The site is asked by one thread only: its geometries are prepared at their first use. ``anywhere`` has, for places
    that are no point, the poses that the machine may be asked to stand in there.
    """

    site: Site
    terrain: Terrain
    portals: Sequence[Portal]
    aids: Aids = UNAIDED
    anywhere: Mapping[str, Sequence[Anchor]] = field(default_factory=dict)
    lattices: Lattices = field(init=False)
    _graphs: dict[tuple[CheckedLattice, ...], SiteGraph] = field(default_factory=dict)
    _standing: dict[tuple[str, str], Anchor] = field(default_factory=dict)
    _left_in: dict[tuple[str, str], str] = field(default_factory=dict)
    _left_at: dict[tuple[str, str], Pose] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.lattices = Lattices(self.site, self.terrain, self.aids)

    def plan(self, wanted: MoveWanted) -> Move:
        """Plan one move; it is not yet re-checked."""
        if wanted.regime == "elevated":
            return self._plan_raised(wanted)
        machine = self.site.machines[wanted.machine]
        why = not_modelled(machine)
        if why is not None:
            return replace(no_way(wanted, "not proven", why, ()), checks=unmade_checks(why))
        graph = self._graph(wanted, machine)
        self.aids.progress(f"{wanted.id}: searching", 0)
        found = self._over(graph, self._stops(graph, wanted), wanted)
        if isinstance(found, Move):
            return found
        ways, at = found
        move, thrown = self._driven(wanted, machine, ways)
        if len(thrown):
            move, at = self._round(wanted, graph, thrown, move) or (move, at)
        elif slips(move):
            move, at = self._held(wanted, graph, move) or (move, at)
        self._standing[machine.id, wanted.goal] = at
        if move.poses:
            self._left_in[machine.id, wanted.goal] = move.poses[-1].travel_mode
        return move

    def closing(self, areas: Collection[str]) -> MovePlanner:
        """The planner of the same site with some areas closed every day besides, the machines where they now stand.

        It knows what this one knows, and keeps what it learns to itself.
        """
        shut = tuple(replace(area, closures=ALWAYS) if area.id in areas else area for area in self.site.areas)
        other = self.aside(replace(self.site, areas=shut))
        other.lattices, other._graphs = other.lattices.apart(), {}
        return other

    def take(self, wanted: MoveWanted, move: Move) -> None:
        """Go on from where a move that was planned before leaves the machine."""
        if move.poses:
            self._standing.pop((wanted.machine, wanted.goal), None)
            self._left_at[wanted.machine, wanted.goal] = move.poses[-1]
            self._left_in[wanted.machine, wanted.goal] = move.poses[-1].travel_mode

    def aside(self, site: Site) -> MovePlanner:
        """A planner of what nobody drives, on the same site with the same or other dates: machines stand as they stand
        now, and where it leaves them is forgotten. Lattices are shared.
        """
        other = replace(
            self, site=site, _standing=dict(self._standing), _left_in=dict(self._left_in), _left_at=dict(self._left_at)
        )
        other.lattices = replace(self.lattices, site=site)
        return other

    def _begins(self, graph: SiteGraph, wanted: MoveWanted) -> list[Anchor]:
        """Where the machine was left, exactly; every way it may stand at its start where nobody left it there."""
        key, stands = (wanted.machine, wanted.start), self._stands(graph, wanted.start)
        if key in self._standing:
            return [self._standing[key]]
        if key not in self._left_at:
            return stands
        left = self._left_at[key]
        return [min(stands, key=lambda at: _off(at, left))]

    def _plan_raised(self, wanted: MoveWanted) -> Move:
        """A move with the platform raised, planned on the site and with the machine as they then are; or denied."""
        raised = raised_for(wanted, self.site)
        if isinstance(raised, str):
            denied = no_way(wanted, "not proven", raised, ())
            return replace(denied, checks=unmade_checks(raised), platform_height_m=wanted.platform_height_m)
        planner = MovePlanner(
            raised.site, self.terrain, self.portals, self.aids,
            _standing=self._standing, _left_in=self._left_in, _left_at=self._left_at,
        )  # fmt: skip
        return raised.told(planner.plan(replace(wanted, regime="stowed")))

    def _stops(self, graph: SiteGraph, wanted: MoveWanted) -> list[Stop]:
        """The nodes that a move leads over, from where the machine was left; at workfaces in the poses that suit the
        work, as long as a way leads to them.
        """
        begins, names = self._begins(graph, wanted), (*wanted.via, wanted.goal)

        def over(stands: Callable[[SiteGraph, str], list[Anchor]]) -> list[Stop]:
            found = [(wanted.start, begins), *((name, stands(graph, name)) for name in names)]
            return [graph.stop(name, dict.fromkeys(poses, 0.0)) for name, poses in found]

        stops, suited = over(self._stands), over(self._suited)
        reached = stops == suited or len(cheapest_round(graph, suited, 0)) == len(names)
        return suited if reached else stops

    def _round(
        self, wanted: MoveWanted, graph: SiteGraph, thrown: Floats, first: Move
    ) -> tuple[Move, Anchor] | None:
        """Another way, round where the basket is thrown too far at any speed, as it is drawn straighter or as it is."""
        for share in ROCKS_LESS:
            self.aids.progress(f"{wanted.id}: looking for a way on which the basket swings less", 0)
            more: Floats | None = None
            for other in self._others(wanted, graph, kept_off(graph.lattices, thrown, share), first):
                move, more, at = other
                if move.poses:
                    return move, at
            if more is None:
                return None
            thrown = np.concatenate([thrown, more])
        return None

    def _held(self, wanted: MoveWanted, graph: SiteGraph, first: Move) -> tuple[Move, Anchor] | None:
        """Another way, round the slopes on which the machine would not be held."""
        for spare in SPARES:
            self.aids.progress(f"{wanted.id}: looking for a way on which it is held", 0)
            off, found = on_what_holds(graph.lattices, graph.machine, self.site, wanted, spare), False
            for move, _, at in self._others(wanted, graph, off, first):
                found = True
                if move.poses and not slips(move):
                    return move, at
            if not found:
                return None
        return None

    def _others(
        self, wanted: MoveWanted, graph: SiteGraph, off: AbstractContextManager[None], first: Move
    ) -> Iterator[tuple[Move, Floats, Anchor]]:
        """The cheapest way while some motions are off, as it is drawn straighter and as it is, where it is thrown and
        the pose it ends in; none where there is no way. It is held to the bound of the first way.
        """
        with off:
            again = SiteGraph(self.site, graph.machine, graph.lattices)
            stops = self._stops(again, wanted)
            chain = cheapest_round(again, stops, 0)
        if len(chain) < len(stops) - 1:
            return
        for ways in ([arrival.way.straighter() for arrival in chain], [arrival.way for arrival in chain]):
            move, thrown = self._driven(wanted, graph.machine, ways)
            best_m = first.best_possible_m
            yield replace(move, best_possible_m=best_m, bound=max(1.0, move.cost_m / best_m)), thrown, chain[-1].ends[0]

    def _over(
        self, graph: SiteGraph, stops: Sequence[Stop], wanted: MoveWanted
    ) -> tuple[list[Way], Anchor] | Move:
        """The cheapest way over stops, leg by leg, and the pose it ends in; the move as it is where there is none.

        A leg that only a finer look finds parts a round in two, each with the poses that are best for it.
        """
        ways, left, mode, closed = list[Way](), list(stops), 0, True
        while len(left) > 1:
            chain = cheapest_round(graph, left, mode)
            if chain:
                ways += [arrival.way.straighter() for arrival in chain]
                at, mode = chain[-1].ends
            else:
                found, mode = self._barred(graph, left[0], left[1], mode, wanted)
                if isinstance(found, Move):
                    return found
                ways.append(found.straighter())
                at = left[1].nearest(found.end)
            closed = len(chain) == len(stops) - 1 and all(arrival.closed for arrival in chain)
            left = left[max(len(chain), 1) :]
            left[0] = graph.stop(left[0].name, {at: 0.0})
        return ways if closed or len(ways) == 1 else bounded(graph, stops, ways), at

    def _graph(self, wanted: MoveWanted, machine: Machine) -> SiteGraph:
        """The graph of a machine under the conditions of a day; made once."""
        options = [replace(wanted, travel_mode=mode) for mode in modes_of(machine, wanted)]
        lattices = tuple(self.lattices.of(option, machine) for option in options)
        if lattices not in self._graphs:
            self._graphs[lattices] = SiteGraph(self.site, machine, lattices)
        return self._graphs[lattices]

    def _barred(
        self, graph: SiteGraph, start: Stop, goal: Stop, mode: int, wanted: MoveWanted
    ) -> tuple[Way | Move, int]:
        """What a finer look finds where no way leads from stop to stop, and its mode; else the move as it is."""
        lacking = graph.without_room(start, goal, mode=mode)
        if lacking is not None:
            return self._no_room(wanted, graph, lacking, mode), mode
        answer, mode = graph.refusal(start, goal)
        return self._unfound(wanted, graph, (start, goal), mode, answer), mode

    def _stands(self, graph: SiteGraph, name: str) -> list[Anchor]:
        """Every way the machine may be asked to stand at a place."""
        place, lattice = self.site.places[name], graph.lattices[0]
        if name in self.anywhere:
            return list(self.anywhere[name])
        if place.bearing_deg is not None:
            return [Anchor(place.point.x, place.point.y, heading_rad(place.bearing_deg))]
        x, y = lattice.grid.snapped(place.point.x, place.point.y, place.tolerance_m)
        return [Anchor(x, y, float(heading)) for heading in lattice.motions.headings]

    def _suited(self, graph: SiteGraph, name: str) -> list[Anchor]:
        """The ways to stand at a place that are as good for working there as any is; all of them where nobody works."""
        stands, hazards = self._stands(graph, name), graph.lattices[0].hazards
        if self.site.places[name].kind != WORKFACE:
            return stands
        found = [set_up_at(at, self.site, graph.machine, hazards).verdict(hazards.k) for at in stands]
        best = max(found, key=MOVE_VERDICTS.index)
        return [at for at, one in zip(stands, found, strict=True) if one == best]

    def _no_room(self, wanted: MoveWanted, graph: SiteGraph, stop: Stop, mode: int) -> Move:
        """The move as it is when the machine cannot stand at one of its stops."""
        why = pose_blocked(stop.stands[-1], graph.lattices[mode].hazards.closer(), graph.machine)
        text = f"the machine cannot stand at {stop.name}: {why}"
        point = self.site.places[stop.name].point
        return no_way(wanted, "no route", text, (NearMiss("place", (point.x, point.y), _NAN, text),))

    def _unfound(
        self, wanted: MoveWanted, graph: SiteGraph, ends: tuple[Stop, Stop], mode: int, answer: NotFound
    ) -> Way | Move:
        """What a finer look around what blocks finds; the move with what blocks it where it finds nothing either."""
        lattice, machine = graph.lattices[mode], graph.machine
        starts, goals = graph.ends(*ends, mode)
        leg = f"from {ends[0].name} to {ends[1].name}: " if wanted.via else ""
        grid = f"a grid of {lattice.grid.cell_m:.2f} m and {lattice.grid.headings} headings"
        parted = parted_m(self.site, wanted, graph.lattices, *(stop.stands for stop in ends))
        if answer.why == "limit" and parted is None:
            text = f"the search gave up after {answer.expanded} states; this proves nothing"
            return no_way(wanted, "search limit", f"{leg}on {grid}, {text}", ())
        misses = nearest_misses(lattice, answer, machine, goals=goals)
        first = f"{leg}the nearest barrier is {_where(self.site, misses[0])}; " if misses else leg
        if parted is not None:
            text = f"nothing as wide as its body, {parted:.2f} m, comes through, whatever the grid and its steering"
            return no_way(wanted, "no route", f"{first}{text}", misses)
        self.aids.progress(f"{wanted.id}: looking closer at what blocks", 0)
        driven = replace(wanted, travel_mode=modes_of(machine, wanted)[mode])

        def lattice_of(part: Site, closer: bool) -> CheckedLattice:
            return self.lattices.of_part(part, driven, machine, closer=closer)

        look = look_finer(lattice, answer, misses, starts=starts, goals=goals, lattice_of=lattice_of)
        if look.way is not None:
            return look.way
        if look.gave_up:
            text = f"{first}no way on {grid}, and a finer search gave up, so this proves nothing"
            return no_way(wanted, "search limit", text, misses)
        finer = f" and, around what blocks, on one of {look.grid}" if look.taken else ""
        other = turned_text(graph, ends, mode)
        return no_way(wanted, "no route", f"{first}every way on {grid}{finer} is blocked{other}", misses)

    def _driven(self, wanted: MoveWanted, machine: Machine, ways: Sequence[Way]) -> tuple[Move, Floats]:
        """A move along some ways, and where its basket swings too far for it to be driven."""
        usual = modes_of(machine, wanted)[0]
        begins = frozenset({usual, self._left_in.get((machine.id, wanted.start), usual)})
        ground = self._graph(wanted, machine).lattices[0].hazards
        return Outcome(wanted, machine, self.site, self.portals, ground, begins).along(ways)


def _off(at: Anchor, pose: Pose) -> float:
    """How far an anchor is from a pose, a radian counted as a metre."""
    turn = math.remainder(at.heading - heading_rad(pose.bearing_deg), 2.0 * math.pi)
    return math.hypot(at.x - pose.x, at.y - pose.y) + abs(turn)


def _where(site: Site, miss: NearMiss) -> str:
    """A near miss in words, with the door, gate or ramp end that it is in, if any, and its place."""
    names = [f"{place.title} ({place.id})" if place.title else place.id for place in named_at(site, miss.place)]
    where = ", ".join([*names, f"E {miss.place[0]:.1f} N {miss.place[1]:.1f}"])
    return f"at {where}: {miss.text.removesuffix(' here')}"
