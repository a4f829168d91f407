"""Small yards drawn from a seed in which areas close, acceptances end and plates are taken away. All invented."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
from shapely.geometry import Polygon, box

from routeplan.site.hire import Hire
from routeplan.site.model import Acceptance, Area, GridSpec, MoveWanted, Obstacle, Purpose, Site, Surface
from routeplan.site.spans import NO_FIRST, NO_LAST, Span
from tests import worlds

EAST_M, NORTH_M = 15.0, 12.0
FIRST = dt.date(2026, 12, 1)
ISSUED = "2026-12-01T06:00:00+00:00"
#: Days on which anything happens.
DAYS = 5


def day(n: int) -> dt.date:
    """The n-th day, from 0."""
    return FIRST + dt.timedelta(days=n)


def move(move_id: str, purpose: Purpose, start: str, goal: str, n: int | None) -> MoveWanted:
    """A move of the scissor on the n-th day, or on none."""
    on = None if n is None else day(n)
    return replace(worlds.wanted("SC", start, goal, move_id=move_id), purpose=purpose, on=on)


def _span(rng: np.random.Generator) -> Span:
    """A closure of some days; now and then one without a beginning or an end."""
    first, last = sorted(rng.integers(0, DAYS, 2).tolist())
    open_end = rng.random()
    if open_end < 0.15:
        return NO_FIRST, day(first)
    return day(first), NO_LAST if open_end > 0.75 else day(last)


def _area(rng: np.random.Generator, n: int) -> Area:
    """An area about one of the gaps, or anywhere."""
    if rng.random() < 0.7:
        y = (2.5, 9.5)[int(rng.integers(0, 2))] + rng.uniform(-1.5, 1.5)
        x, w, h = 7.5 + rng.uniform(-1.0, 1.0), rng.uniform(0.5, 2.0), rng.uniform(0.3, 2.0)
    else:
        x, y = rng.uniform(2.0, EAST_M - 2.0), rng.uniform(1.0, NORTH_M - 1.0)
        w, h = rng.uniform(0.3, 2.0), rng.uniform(0.3, 4.0)
    spans = tuple(_span(rng) for _ in range(int(rng.integers(1, 3))))
    return Area(f"a{n}", f"Area {n}", box(x - w, y - h, x + w, y + h), spans)


def _surfaces(rng: np.random.Generator) -> tuple[Surface, ...]:
    """The yard; now and then a strip across one of the gaps whose acceptance begins or ends."""
    word = Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0)
    outline: Polygon = box(0.0, 0.0, EAST_M, NORTH_M)
    strip = box(6.5, 0.0, 8.5, 6.0) if rng.random() < 0.5 else box(6.5, 6.0, 8.5, NORTH_M)
    yard = Surface("yard", outline, "stone", word, friction=worlds.ROUGH)
    if rng.random() < 0.6:
        return (yard,)
    first, last = sorted(rng.integers(0, DAYS, 2).tolist())
    until = day(last) if rng.random() < 0.7 else None
    dated = replace(word, date=day(first) if rng.random() < 0.3 else word.date, valid_until=until)
    rest = Surface("yard", outline.difference(strip), "stone", word, friction=worlds.ROUGH)
    return (rest, Surface("strip", strip, "boards", dated, friction=worlds.ROUGH))


def _moves(rng: np.random.Generator) -> tuple[MoveWanted, ...]:
    """A delivery, often a relocation, often a collection, in this order."""
    days = sorted(rng.integers(0, DAYS, 3).tolist())
    moves = [move("D1", "delivery", "west", "east", days[0])]
    if rng.random() < 0.4:
        moves.append(move("R1", "relocation", "east", "north", days[1]))
    if rng.random() < 0.8:
        moves.append(move("C1", "collection", moves[-1].goal, "gate" if rng.random() < 0.5 else "west", days[2]))
    return tuple(moves)


def drawn_calendar(seed: int) -> Site:
    """A yard of two halves with two gaps between them, and up to three areas that close."""
    rng = np.random.default_rng(seed)
    walls = (box(7.4, -1.0, 7.6, 1.2), box(7.4, 3.8, 7.6, 8.2), box(7.4, 10.8, 7.6, NORTH_M + 1.0))
    bearing = None if rng.random() < 0.5 else float(rng.choice([0.0, 90.0]))
    places = (
        worlds.place("west", 3.0, 6.0, 90.0), worlds.place("gate", 3.0, 3.0), worlds.place("east", 11.5, 4.0, bearing),
        worlds.place("north", 11.5, 8.5),
    )  # fmt: skip
    return worlds.flat_site(
        EAST_M, NORTH_M, machines=(worlds.scissor(),), places=places, moves=_moves(rng), grid=GridSpec(cell_m=0.5),
        obstacles=tuple(Obstacle(f"w{n}", wall, "wall", None) for n, wall in enumerate(walls)),
        areas=tuple(_area(rng, n) for n in range(int(rng.integers(1, 4)))), surfaces=_surfaces(rng),
        hire={"SC": Hire(int(rng.integers(0, 3)), int(rng.integers(0, 2)))},
    )  # fmt: skip
