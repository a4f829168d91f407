"""Moves that the second opinion accepted before: not looked at again while only areas far from them close or open."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import joblib

from routeplan.kernel import sources_hash
from routeplan.plan.tiles import Store, undated
from routeplan.recheck.far import keeps_far
from routeplan.route.model import Plan
from routeplan.site.model import Site

#: Rooms whose code decides what the second opinion says; the last is what lies beside the rooms.
_DECIDING = ("site", "machine", "route", "recheck", ".")


@dataclass(frozen=True, eq=False)
class Accepted:
    """What the second opinion accepted on a site, noted under the name of all that it looked at but for the areas."""

    store: Store
    site: Site

    def still(self, plan: Plan) -> bool:
        """Whether the one move of a plan was accepted word for word, and stays far from every area that has changed."""
        noted = self.store.noted(self._name(plan))
        if noted is None:
            return False
        try:
            then, now = dict(json.loads(noted)), self._areas(plan)
        except (ValueError, TypeError):  # damaged
            return False
        changed = [area.geometry for area in self.site.areas if then.get(area.id) != now[area.id]]
        (move,) = plan.moves
        return keeps_far(move, self.site, changed)

    def note(self, plan: Plan) -> None:
        """Note the one move of a plan, which was accepted."""
        self.store.note(self._name(plan), json.dumps(self._areas(plan)))

    def _name(self, plan: Plan) -> str:
        """As a move says all that was planned, and its plan how sure it has to be."""
        (move,) = plan.moves
        said = repr((move, plan.k_by_move, replace(plan.conditions, closed=(), opened=())))
        name: str = joblib.hash((said, self.site.machines[move.machine], self._on))
        return name

    @cached_property
    def _on(self) -> str:
        """The code that looks, and the site that it looks at."""
        on: str = joblib.hash((sources_hash(rooms=_DECIDING), undated(replace(self.site, machines={}))))
        return on

    def _areas(self, plan: Plan) -> Mapping[str, str]:
        """What is said of each area, by its id."""
        closed, opened = plan.conditions.closed, plan.conditions.opened
        return {
            area.id: repr((area.closures, area.reopened, area.id in closed, area.id in opened))
            for area in self.site.areas
        }
