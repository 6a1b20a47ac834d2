"""Max-min fair sharing of a limited electric supply among chargers and their slots."""

from __future__ import annotations

from collections.abc import Sequence


def max_min_share(demands: Sequence[float], capacity: float) -> list[float]:
    """Share a capacity so that the least served is served as well as possible, then the next, and so on.

    Water-filling: every demand below the common level is met in full, the others get the level. Plain Python, because
    the simulator calls it at each electrical event with a handful of demands.

    Parameters
    ----------
    demands : sequence of float
        What each would take when alone, W (any one unit), each zero or more; shape ``(n,)``.
    capacity : float
        What can be given in total, same unit, zero or more; may be infinite.

    Returns
    -------
    list of float
        Share of each in the order of `demands`; never above the demand, their sum never above `capacity` but for
        rounding, and equal to ``min(sum(demands), capacity)``.

    Notes
    -----
    Source of the rule: Bertsekas and Gallager (1992), Data Networks, 2nd ed., section 6.5.2, max-min flow control
    (from memory).
    """
    total = 0.0
    for demand in demands:
        total += demand
    if total <= capacity:
        return list(demands)
    shares = [0.0] * len(demands)
    remaining = capacity
    left = len(demands)
    for index in sorted(range(len(demands)), key=demands.__getitem__):
        level = remaining / left
        share = demands[index] if demands[index] < level else level
        shares[index] = share
        remaining = max(0.0, remaining - share)
        left -= 1
    return shares


def share_bus(
    capacity_w: float, charger_limits_w: Sequence[float], slot_demands_w: Sequence[Sequence[float]]
) -> list[list[float]]:
    """Share one bus among the slots of several chargers, each charger with a limit of its own.

    Max-min fairness holds over *slots*: no slot can be given more without taking from a slot that has no more than it,
    under the limit of its charger and of the bus together.

    Parameters
    ----------
    capacity_w : float
        Power that the bus can give now, W; zero or more.
    charger_limits_w : sequence of float
        Most that each charger can pass, W; shape ``(chargers,)``.
    slot_demands_w : sequence of sequence of float
        What each slot would take when alone, W; one inner sequence a charger, which may be empty.

    Returns
    -------
    list of list of float
        Power of each slot, W, nested like `slot_demands_w`.

    Notes
    -----
    Limits that are nested (slot in charger in bus) make the fair share of a slot the smallest of its demand, its
    charger's level and the bus's level. So a pass over each charger followed by one pass over all slots is exact;
    tests hold it against a sequence of linear programs.
    """
    capped: list[float] = []
    for limit_w, demands_w in zip(charger_limits_w, slot_demands_w, strict=True):
        capped.extend(max_min_share(demands_w, limit_w))
    shares = iter(max_min_share(capped, capacity_w))
    return [[next(shares) for _ in demands_w] for demands_w in slot_demands_w]
