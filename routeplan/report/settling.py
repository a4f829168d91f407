"""What measurements would settle an open check, in words: where to read levels, how well, and what is expected."""

from __future__ import annotations

import math

from routeplan.route.model import Check, Measurement


def measured_text(check: Check) -> str:
    """Return the measurements that settle what a check lacks but for what it rests on; nothing where none is told."""
    levels = [one for one in check.settled_by if one.what == "level"]
    if levels:
        first, count = levels[0], len(levels)
        spots = "; ".join(f"E {one.place[0]:.2f} N {one.place[1]:.2f} (plan: {one.level_m:.3f} m)" for one in levels)
        end = "fails" if check.margin < 0.0 else "is proven"
        many = "the fewest" if first.fewest else "few"
        return (
            f"it {end} if {count} spot level{'s' * (count > 1)} ({many}), read to {1000.0 * first.sigma_m:.3g} mm, "
            f"find what the plan has: {spots}"
        )
    return "; ".join(map(_words, (one for one in check.settled_by if one.text not in check.assumed)))


def _words(one: Measurement) -> str:
    enough = f", {1000.0 * one.sigma_m:.3g} mm" if one.what == "accuracy" and math.isfinite(one.sigma_m) else ""
    return f"{one.text}{enough}"
