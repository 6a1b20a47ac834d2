"""Electrical power of a multirotor in hover and forward flight, and its calibration from what an owner has."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Generic, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

GRAVITY_M_PER_S2 = 9.80665
"""Standard gravity."""

COAXIAL_INTERFERENCE = (1.0 + math.sqrt(17.0)) / 4.0
"""Induced power of a coaxial pair over that of its two rotors flown apart: 1.2808. Source: Leishman (2006), Principles
of Helicopter Aerodynamics, 2nd ed., section 2.14 (from memory; derived anew in the tests): equal thrusts, the lower
rotor half in the fully contracted wake of the upper. Both rotors in one plane: 1.414; measured pairs: about 1.16."""

PLAUSIBLE_FIGURE_OF_MERIT = (0.3, 0.85)
"""Range of the overall figure of merit that calibration accepts (assumption): rotor 0.5 to 0.85, drive 0.6 to 0.95;
electrical hover efficiency of 0.5 to 0.7 is usual (from memory)."""

FIXED_POWER_TOLERANCE = 0.1
"""Share of the lighter point's power by which the fitted fixed power may be negative before two hover points are called
contradictory (assumption: spec-sheet minutes are rounded by about 5 %); within it the fixed power is set to zero."""

Floats = TypeVar("Floats", float, NDArray[np.float64])


class ForwardPower(NamedTuple, Generic[Floats]):
    """Power in steady level flight (W) and what it is made of; shares are of lift power in hover."""

    momentum_limit_w: Floats
    downwash_m_per_s: Floats
    """Induced speed in hover."""
    profile_share: float
    induced_share: Floats
    lift_share: Floats
    drag_w: float
    """Electrical."""
    power_w: Floats


@dataclass(frozen=True)
class FlightModel:
    """Rotors, losses and drag of one aircraft, giving electrical power from mass, speed and air density.

    Attributes
    ----------
    rotor_count
        Of a coaxial layout both of each pair, so an even number.
    figure_of_merit
        Ideal induced power (with the interference of a coaxial layout) over the electrical power of lift in hover:
        rotor and drive together; above 0, at most 1.
    fixed_power_w
        Does not depend on mass: avionics, pump, losses.
    profile_share
        Of the lift power in hover, what is blade profile power; 0 to below 1. Assumption: rotor figure of merit 0.65
        and induced factor 1.15 (Leishman 2006, from memory) leave 1 - 1.15 * 0.65 to the profile.
    tip_speed_m_per_s
        Source: Zeng, Xu and Zhang (2019).
    drag_area_m2
        Equivalent flat plate of airframe and tank. Assumption: frontal area, 20 to 40 L class.
    coaxial_factor
        Induced power of a pair over that of its rotors flown apart; 1 to 1.5.
    drive_efficiency
        Electrical to shaft, for drag, which passes the drive but not the rotor's hover losses. Assumption.

    Raises
    ------
    ValueError
        The rotors of a coaxial layout are no even number.

    Notes
    -----
    Sources: momentum theory ``P = T^1.5 / sqrt(2 rho A)``; forward flight Zeng, Xu and Zhang (2019), IEEE Trans.
    Wireless Commun. 18(4):2329-2345, eq. 12, as electrical power. Other than there, profile power grows with mass^1.5
    as induced power does: a multirotor answers load by rotor speed, thrust goes with its square, profile power with its
    cube.
    """

    rotor_count: int
    rotor_diameter_m: float
    coaxial: bool
    figure_of_merit: float
    fixed_power_w: float = 0.0
    profile_share: float = 0.25
    tip_speed_m_per_s: float = 120.0
    drag_area_m2: float = 0.4
    coaxial_factor: float = COAXIAL_INTERFERENCE
    drive_efficiency: float = 0.8

    def __post_init__(self) -> None:
        """Refuse a pair of rotors without its other half."""
        if self.coaxial and self.rotor_count % 2:
            raise ValueError(f"rotor_count: got {self.rotor_count}, allowed at least 1 and even")

    @property
    def disc_area_m2(self) -> float:
        """Area of the rotor discs seen from above; a coaxial pair counts once."""
        discs = self.rotor_count // 2 if self.coaxial else self.rotor_count
        return discs * math.pi * self.rotor_diameter_m**2 / 4.0

    @property
    def effective_area_m2(self) -> float:
        """Area of the single disc with the same ideal power: of a coaxial pair 2 / coaxial_factor^2 of its disc."""
        return self.disc_area_m2 * (2.0 / self.coaxial_factor**2 if self.coaxial else 1.0)

    def momentum_limit_w(self, mass: Floats, density: float) -> Floats:
        """Return the least power to hover, with a coaxial layout's interference, from mass (kg) and density (kg/m3).

        Source: momentum theory, ``T^1.5 / sqrt(2 rho A)``.
        """
        thrust_n = mass * GRAVITY_M_PER_S2
        power_w: Floats = thrust_n**1.5 / math.sqrt(2.0 * density * self.effective_area_m2)
        return power_w

    def forward_power(
        self, mass_kg: Floats, speed_m_per_s: float, density: float, headwind_m_per_s: float = 0.0
    ) -> ForwardPower[Floats]:
        """Return the electrical power in steady level flight and its parts; at no airspeed that of hover.

        The density is in kg/m3; the airspeed is ground speed plus head wind, and a tail wind is below zero. Source:
        Zeng, Xu and Zhang (2019), eq. 12.
        """
        ideal_w = self.momentum_limit_w(mass_kg, density)
        airspeed = np.abs(speed_m_per_s + headwind_m_per_s)
        profile = 1.0 + 3.0 * airspeed**2 / self.tip_speed_m_per_s**2
        downwash = ideal_w / (mass_kg * GRAVITY_M_PER_S2)
        # induced power over that in hover: sqrt(sqrt(1 + x^2) - x) without its loss of digits at high speed
        half_square = airspeed**2 / (2.0 * downwash**2)
        induced: Floats = 1.0 / np.sqrt(np.sqrt(1.0 + half_square**2) + half_square)
        # written around 1 so that rest gives 1 to the last bit
        shape = 1.0 + self.profile_share * (profile - 1.0) + (1.0 - self.profile_share) * (induced - 1.0)
        drag_w = 0.5 * density * self.drag_area_m2 * airspeed**3 / self.drive_efficiency
        power_w: Floats = ideal_w / self.figure_of_merit * shape + drag_w + self.fixed_power_w
        return ForwardPower(ideal_w, downwash, profile, induced, shape, drag_w, power_w)


def mean_power_w(pack_wh: float, share: float | Floats, minutes: Floats) -> Floats:
    """Return the mean power (W) at which a share of a pack's energy lasts some minutes."""
    power_w: Floats = pack_wh * share * 60.0 / minutes
    return power_w


def _unit(rotors: FlightModel) -> FlightModel:
    """Return the rotors at a figure of merit of 1: the lift power that calibration then scales."""
    return replace(rotors, figure_of_merit=1.0, fixed_power_w=0.0)


def _finish(unit: FlightModel, inverse_merit: float, fixed_power_w: float, scale_w: float) -> FlightModel:
    """Return the calibrated model, or refuse an implausible one with the reason."""
    if fixed_power_w < -FIXED_POWER_TOLERANCE * scale_w:
        raise ValueError(
            f"the points imply a mass-independent power of {fixed_power_w:.0f} W, allowed zero or more: power grows"
            " faster with mass than mass^1.5; check masses and minutes, and that all points were flown on this pack"
        )
    low, high = PLAUSIBLE_FIGURE_OF_MERIT
    merit = 1.0 / inverse_merit if inverse_merit > 0.0 else math.inf
    if not low <= merit <= high:
        reason = (
            "the hover times are shorter than these rotors and this pack need, or the full tank costs too much of them"
            if merit < low
            else "the hover times are longer than these rotors and this pack allow, or the full tank costs too little"
        )
        told = f"of the power, {merit:.0%} would lift (figure of merit); allowed is {low:.0%} to {high:.0%}"
        raise ValueError(f"{reason}: {told}; check tank, masses, hover times and the pack's energy")
    return replace(unit, figure_of_merit=merit, fixed_power_w=max(0.0, fixed_power_w))


def _merit(lift_w: NDArray[np.float64], power_w: NDArray[np.float64]) -> float:
    """Return 1 / figure of merit by least squares of the relative error, without fixed power."""
    weighted = lift_w / power_w
    return float(weighted.sum() / (weighted**2).sum())


def _fit(lift_w: NDArray[np.float64], power_w: NDArray[np.float64]) -> tuple[float, float]:
    """Return 1 / figure of merit and fixed power by least squares of the relative error."""
    if len(power_w) > 1:
        columns = np.column_stack([lift_w / power_w, 1.0 / power_w])
        inverse_merit, fixed_power_w = np.linalg.lstsq(columns, np.ones(len(power_w)), rcond=None)[0]
        # A slightly negative fixed power is rounding in the data: drop it and let the merit carry the mean.
        if fixed_power_w >= 0.0 or fixed_power_w < -FIXED_POWER_TOLERANCE * float(power_w.min()):
            return float(inverse_merit), float(fixed_power_w)
    return _merit(lift_w, power_w), 0.0


def calibrate(
    rotors: FlightModel,
    pack_wh: float,
    usable_share: float,
    hover_points: Sequence[tuple[float, float]],
    density: float = 1.225,
) -> FlightModel:
    """Fit rotors' losses to all-up masses (kg) and hover minutes of a spec sheet, in air of a density (kg/m3).

    The minutes used a share of the full pack's energy. One point fits the figure of merit with no fixed power; two fit
    both, and are reproduced exactly unless a slightly negative fixed power was set to zero; more are fitted by least
    squares of the relative error.

    Raises
    ------
    ValueError
        Two points share a mass, a point lies below the momentum limit, or the fit is implausible; the message says
        which and what is allowed.
    """
    unit = _unit(rotors)
    mass_kg, minutes = np.asarray(hover_points, dtype=np.float64).T
    if len(np.unique(mass_kg)) < len(mass_kg):
        raise ValueError(f"hover_points: got {list(hover_points)!r}, allowed each mass once")
    power_w = mean_power_w(pack_wh, usable_share, minutes)
    limit_w = unit.momentum_limit_w(mass_kg, density)
    for mass, power, limit in zip(mass_kg, power_w, limit_w, strict=True):
        if power <= limit:
            raise ValueError(
                f"hover at {mass:g} kg: the pack would last so long only at {power:.0f} W, but rotor discs of"
                f" {unit.disc_area_m2:.2f} m2 need more than {limit:.0f} W to hold it: the hover time is too long for"
                " this mass, the tank too heavy for these rotors, or the pack's energy too small"
            )
    return _finish(unit, *_fit(limit_w, power_w), float(power_w.min()))


def calibrate_from_load_use(
    rotors: FlightModel,
    pack_wh: float,
    empty_mass_kg: float,
    logged_loads: Sequence[tuple[float, float, float]],
    density: float = 1.225,
    speed_m_per_s: float = 0.0,
) -> FlightModel:
    """Fit rotors' losses, but for their fixed power, to an owner's log of how much of the pack each load took.

    By least squares of the relative error. The pack's energy is what it holds now. Logged are the load at take-off
    (kg), which is taken to fall evenly to nothing, minutes airborne, and the share of the pack used; density in kg/m3.
    A typical airspeed of 0 is as if hovering, which overstates the figure of merit a little.

    Raises
    ------
    ValueError
        A log entry lies below the momentum limit, or the fit is implausible.
    """
    load_kg, minutes, share_used = np.asarray(logged_loads, dtype=np.float64).T
    unit = _unit(rotors)
    power_w = mean_power_w(pack_wh, share_used, minutes)
    nodes, weights = np.polynomial.legendre.leggauss(6)
    mass_kg = empty_mass_kg + load_kg[:, None] * (nodes + 1.0) / 2.0
    flown = unit.forward_power(mass_kg, speed_m_per_s, density)
    lift_w = flown.power_w @ (weights / 2.0) - flown.drag_w
    lift_power_w = power_w - flown.drag_w - rotors.fixed_power_w
    for load, power, limit in zip(load_kg, lift_power_w, lift_w, strict=True):
        if power <= limit:
            raise ValueError(
                f"load of {load:g} kg: the flights used {power:.0f} W for lift, but the rotors need more than"
                f" {limit:.0f} W to hold it: the minutes are too long, the share used too small, or the load too heavy"
            )
    return _finish(unit, _merit(lift_w, lift_power_w), rotors.fixed_power_w, float(power_w.min()))


@lru_cache(maxsize=4096)
def cubic_power(
    model: FlightModel,
    speed: float,
    density: float,
    mass_low_kg: float,
    mass_high_kg: float,
    headwind_m_per_s: float = 0.0,
) -> tuple[float, float, float, float]:
    """Fit power against mass by a cubic, so that the energy of a flight with a falling mass has a closed form.

    The speed (m/s) is over ground, density in kg/m3. Returned are the coefficients of mass^0 to mass^3: W, W/kg, W/kg2,
    W/kg3. Relative error below 2e-4 up to a mass ratio of 2.3, below 6e-4 up to 3.
    """
    if mass_high_kg - mass_low_kg < 1e-6 * mass_low_kg:
        return (model.forward_power(mass_low_kg, speed, density, headwind_m_per_s).power_w, 0.0, 0.0, 0.0)
    # Chebyshev nodes keep the least-squares fit near the best uniform one.
    nodes = np.cos(np.pi * (np.arange(24) + 0.5) / 24.0)
    mass_kg = (mass_low_kg + mass_high_kg) / 2.0 + (mass_high_kg - mass_low_kg) / 2.0 * nodes
    power_w = model.forward_power(mass_kg, speed, density, headwind_m_per_s).power_w
    fit = np.polynomial.Polynomial.fit(mass_kg, power_w, 3, w=1.0 / power_w)
    coefficients = np.zeros(4)
    converted = fit.convert().coef
    coefficients[: len(converted)] = converted
    c0, c1, c2, c3 = coefficients.tolist()
    return (c0, c1, c2, c3)


def cubic_value(c: tuple[float, float, float, float], m: float) -> float:
    """Return the power (W) of a cubic of `cubic_power` at a mass (kg)."""
    c0, c1, c2, c3 = c
    return c0 + m * (c1 + m * (c2 + m * c3))


def cubic_mean(c: tuple[float, float, float, float], m1: float, m2: float) -> float:
    """Return the mean power (W) of a cubic of `cubic_power` while the mass (kg) changes evenly.

    The integral's difference quotient is written out as symmetric sums, so nothing cancels when the masses are close.
    """
    c0, c1, c2, c3 = c
    total = m1 + m2
    squares = m1 * m1 + m2 * m2
    return c0 + c1 * total / 2.0 + c2 * (squares + m1 * m2) / 3.0 + c3 * total * squares / 4.0
