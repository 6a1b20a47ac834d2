"""Constant-current, constant-voltage charging as a voltage-free energy model in closed form.

Plain floats and ``math``: the simulator asks for a few times and energies at each electrical event.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class ChargeCurve:
    """What a pack accepts while it fills.

    Acceptance is `cc_power_w`, at the pack's terminals, up to ``cc_share * capacity_wh`` (constant current), then falls
    in proportion to the energy still missing (constant voltage: an exponential in time, of time constant `tau_h`,
    towards `asymptote_wh`) and is ``cut_share * cc_power_w`` exactly at full. Under a limit below the acceptance, the
    pack takes the limit until its acceptance has fallen to it. Shares are above 0; a ``cc_share`` of 1 means no
    constant voltage, the ``cut_share`` is below 1.

    Notes
    -----
    Source of the shape: exponential current at constant voltage, ended at a few per cent of the rated current (common
    battery-charging notes; cut-off 0.03 to 0.1 of the rate). Energy balance: the missing energy ``(1 - cc_share) *
    capacity`` equals ``tau * (P_cc - P_cut)``, which fixes tau. Worked: 1C, cc_share 0.8, cut 0.05 gives tau 0.2105 h,
    48 min + 37.8 min. Assumption: pack voltage is constant, so power is proportional to current.
    """

    capacity_wh: float
    cc_power_w: float
    cc_share: float
    cut_share: float
    tau_h: float = field(init=False, repr=False, compare=False)
    asymptote_wh: float = field(init=False, repr=False, compare=False)
    _constant_to_wh: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Derive the time constant and the asymptote."""
        tau_h = (1.0 - self.cc_share) * self.capacity_wh / (self.cc_power_w * (1.0 - self.cut_share))
        object.__setattr__(self, "tau_h", tau_h)
        object.__setattr__(self, "_constant_to_wh", self.cc_share * self.capacity_wh)
        object.__setattr__(self, "asymptote_wh", self.capacity_wh + tau_h * self.cut_share * self.cc_power_w)

    def __reduce__(self) -> tuple[type[ChargeCurve], tuple[float, float, float, float]]:
        """Pickle as the call that makes the curve."""
        return ChargeCurve, (self.capacity_wh, self.cc_power_w, self.cc_share, self.cut_share)

    def acceptance_w(self, e_wh: float) -> float:
        """Return the most that the pack takes at an energy: at full still the cut-off power, which ends the charge."""
        if e_wh <= self._constant_to_wh or self.tau_h == 0.0:
            return self.cc_power_w
        capacity_wh = self.capacity_wh
        return (self.asymptote_wh - (e_wh if e_wh < capacity_wh else capacity_wh)) / self.tau_h

    def knee_wh(self, limit_w: float) -> float:
        """Return the energy at which the acceptance falls below a charger's limit; the capacity when it never does."""
        if limit_w >= self.cc_power_w:
            return self._constant_to_wh
        knee_wh = self.asymptote_wh - self.tau_h * limit_w
        capacity_wh = self.capacity_wh
        return knee_wh if knee_wh < capacity_wh else capacity_wh

    def time_s(self, e0_wh: float, e1_wh: float, limit_w: float) -> float:
        """Return the time to charge from one energy to another, at most the capacity, under a limit of the charger.

        0 when the pack holds the end energy already, infinite under a limit of zero.
        """
        capacity_wh = self.capacity_wh
        if e1_wh > capacity_wh:
            e1_wh = capacity_wh
        knee_wh = self.knee_wh(limit_w)
        if e1_wh <= e0_wh:
            return 0.0
        if limit_w == 0.0:
            return math.inf
        hours = 0.0
        if e0_wh < knee_wh:
            power_w = self.cc_power_w
            if limit_w < power_w:
                power_w = limit_w
            hours = ((e1_wh if e1_wh < knee_wh else knee_wh) - e0_wh) / power_w
            e0_wh = knee_wh
        if e1_wh > e0_wh:
            # log1p keeps the digits of a short step, where the ratio of the two acceptances is near one.
            hours += self.tau_h * math.log1p((e1_wh - e0_wh) / (self.asymptote_wh - e1_wh))
        return hours * SECONDS_PER_HOUR

    def energy_after_wh(self, e0_wh: float, seconds: float, limit_w: float) -> float:
        """Return the energy after charging for a time, which may be infinite, under a limit of the charger."""
        capacity_wh = self.capacity_wh
        knee_wh = self.knee_wh(limit_w)
        if e0_wh >= capacity_wh or limit_w == 0.0:
            return min(e0_wh, capacity_wh)
        hours = seconds / SECONDS_PER_HOUR
        if e0_wh < knee_wh:
            power_w = self.cc_power_w
            if limit_w < power_w:
                power_w = limit_w
            knee_h = (knee_wh - e0_wh) / power_w
            if hours <= knee_h:
                after_wh = e0_wh + power_w * hours
                return after_wh if after_wh < capacity_wh else capacity_wh
            hours -= knee_h
            e0_wh = knee_wh
        if self.tau_h == 0.0 or e0_wh >= capacity_wh:
            return capacity_wh
        after_wh = e0_wh - (self.asymptote_wh - e0_wh) * math.expm1(-hours / self.tau_h)
        return after_wh if after_wh < capacity_wh else capacity_wh
