"""What cuts a move off: the smallest sets of named areas that, closed, leave it no way.

Every way that is found is a witness: who wants to cut the move off must close an area that it comes into. Smallest sets
that meet all witnesses are closed and searched under, one after the other. Where there is a way, it is one more
witness; where it is proven that there is none, the set cuts the move off, and no smaller one does. Sets are counted out
by branching over the areas of a witness that is not met yet: exact, all of one size, and of few areas, so that no
solver is needed, which would have to be asked again for each set.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from routeplan.hazards.body import build_body
from routeplan.plan.covered import Covered
from routeplan.plan.move import MovePlanner
from routeplan.plan.whole import Issue, planned
from routeplan.route.lifelines import Cuts
from routeplan.route.model import Move
from routeplan.site.model import Area, MoveWanted, Site

Names = frozenset[str]


def cuts(planner: MovePlanner, wanted: MoveWanted, issue: Issue) -> Cuts:
    """What cuts a move off, from where the planner's machine stands; the planner is left as it is.

    Parameters
    ----------
    issue
        What the plan says of itself, for the second opinion: a way that it refuses is none, and proves nothing either.
    """
    site, here = planner.site, planner.closing(())
    areas = tuple(area for area in site.areas if not area.closed_on(wanted.on))
    names = tuple(area.id for area in areas)
    if wanted.regime == "elevated":
        return Cuts(wanted.id, names, (), why="it is not looked for where the platform is raised")

    def way(closed: Names) -> Move:
        return planned(wanted, here if not closed else here.closing(closed), issue).moves[0]

    move = way(frozenset())
    if not move.poses:
        return Cuts(wanted.id, names, (), why=f"with all of them open there is none to drive: {_why(move)}")
    witnesses = [_met(move, site, wanted, areas)]
    for size in range(1, len(names) + 1):
        cut, unsettled = dict[Names, str](), dict[Names, str]()
        while (closed := _next(witnesses, size, {*cut, *unsettled})) is not None:
            move = way(closed)
            if move.poses:
                witnesses.append(_met(move, site, wanted, areas) - closed)
            else:
                (cut if move.verdict == "no route" else unsettled)[closed] = _why(move)
        if cut or unsettled:
            sets = [sorted(found, key=lambda one: sorted(map(names.index, one))) for found in (cut, unsettled)]
            told = [tuple(tuple(sorted(one, key=names.index)) for one in found) for found in sets]
            return Cuts(wanted.id, names, told[0], told[1], next(iter(unsettled.values()), ""))
    return Cuts(wanted.id, names, ())


def _why(move: Move) -> str:
    """Why nothing of a move may be driven."""
    return f"{move.verdict}, {move.reason}"


def _next(witnesses: Sequence[Names], size: int, done: set[Names]) -> Names | None:
    """A set of so many areas that meets every witness and was not asked about."""
    return next((found for found in hitting(witnesses, size) if found not in done), None)


def hitting(witnesses: Sequence[Names], size: int, chosen: Names = frozenset()) -> Iterator[Names]:
    """Sets of at most so many areas that meet every witness, each at least once.

    >>> sorted(map(sorted, set(hitting([frozenset("ab"), frozenset("bc")], 1))))
    [['b']]
    """
    missed = next((witness for witness in witnesses if not witness & chosen), None)
    if missed is None:
        yield chosen
    elif len(chosen) < size:
        for name in sorted(missed):
            yield from hitting(witnesses, size, chosen | {name})


def _met(move: Move, site: Site, wanted: MoveWanted, areas: Sequence[Area]) -> Names:
    """Areas that a machine may come into on a way: all that, closed, could keep it off it, and perhaps some beside it.

    One beside it costs a search and changes nothing: the way is found again with it closed, and is a witness without.
    """
    machine = site.machines[move.machine]
    shape = machine.configurations[wanted.configuration]
    body = build_body(site, machine, shape, ridden=wanted.travel_mode in ("ridden", "any"))
    lean_m = float(body.tallest * max(body.limit_up, body.limit_down, body.limit_side))
    covered = Covered.of(move.poses, machine, wanted.configuration, body)
    return frozenset(replace(covered, tube_m=covered.tube_m + lean_m).met(areas))
