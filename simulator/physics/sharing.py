"""Setting chargers so that together they fit a limited electric supply: the most needed pack first."""

from __future__ import annotations

from collections.abc import Sequence


def serve_in_order(
    capacity_w: float,
    charger_limits_w: Sequence[float],
    charger_leasts_w: Sequence[float],
    demands: Sequence[tuple[int, float]],
) -> list[float]:
    """Share one bus among packs on chargers: each in turn gets all it takes of what those before it have left.

    A pack that comes later in the order never takes power from one before it, so a further charger or slot delays
    nobody. Plain Python, because the simulator calls it at each electrical event with a handful of demands.

    Parameters
    ----------
    capacity_w : float
        Power that the bus can give now, W; zero or more, may be infinite.
    charger_limits_w, charger_leasts_w : sequence of float
        Most that each charger can draw, and the least it can be set to, W; shape ``(chargers,)``.
    demands : sequence of (int, float)
        In order of need: the number of a pack's charger, and what the pack would draw there when alone, W.

    Returns
    -------
    list of float
        Power of each demand, W, in the same order; 0 where what is left is less than its charger can be set to.

    Notes
    -----
    How crews do it: the charger of the pack that is waited for runs full, the others are turned down to what is left.
    Common practice, no source.
    """
    left_w, drawn_w = capacity_w, [0.0] * len(charger_limits_w)
    shares_w = []
    for charger, demand_w in demands:
        room_w = max(0.0, min(left_w, charger_limits_w[charger] - drawn_w[charger]))
        share_w = min(demand_w, room_w)
        if share_w < demand_w and drawn_w[charger] + share_w < charger_leasts_w[charger]:
            share_w = 0.0
        drawn_w[charger] += share_w
        left_w -= share_w
        shares_w.append(share_w)
    return shares_w
