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
    nobody. The bus may give any power, also an infinite one; demands are the number of a pack's charger and what the
    pack would draw there when alone (W), in order of need. Returned is the power (W) of each; 0 where what is left is
    less than its charger can be set to. Plain Python, because the simulator calls it at each electrical event with a
    handful of demands.

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
