"""Electrical power of a multirotor in hover and forward flight, and its calibration from what an owner has."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypedDict, Unpack, overload

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

_Floats = float | NDArray[np.float64]


def _positive(name: str, value: _Floats) -> None:
    """Refuse a value that is not a finite number above zero."""
    if not np.all((np.asarray(value) > 0.0) & np.isfinite(value)):
        raise ValueError(f"{name}: got {value!r}, allowed above zero and finite")


@dataclass(frozen=True)
class FlightModel:
    """Rotors, losses and drag of one aircraft, giving electrical power from mass, speed and air density.

    Parameters
    ----------
    rotor_count : int
        Number of rotors; of a coaxial layout both of each pair, so an even number.
    rotor_diameter_m : float
        Diameter of one rotor, m.
    coaxial : bool
        Whether the rotors stand in pairs, one above the other.
    figure_of_merit : float
        Ideal induced power (with the interference of a coaxial layout) over the electrical power of lift in hover:
        rotor and drive together; above 0, at most 1.
    fixed_power_w : float
        Electrical power that does not depend on mass: avionics, pump, losses, W.
    profile_share : float
        Share of the lift power in hover that is blade profile power; 0 to below 1. Default 0.25, assumption: rotor
        figure of merit 0.65 and induced factor 1.15 (Leishman 2006, from memory) leave 1 - 1.15 * 0.65 to the profile.
    tip_speed_m_per_s : float
        Blade tip speed, m/s. Default 120: Zeng, Xu and Zhang (2019).
    drag_area_m2 : float
        Equivalent flat-plate area of airframe and tank, m2. Default 0.4, assumption: frontal area, 20 to 40 L class.
    coaxial_factor : float
        Induced power of a pair over that of its rotors flown apart; 1 to 1.5; see `COAXIAL_INTERFERENCE`.
    drive_efficiency : float
        Electrical to shaft efficiency, used for drag and climb, which pass the drive but not the rotor's hover losses;
        above 0, at most 1. Default 0.8, assumption.

    Raises
    ------
    ValueError
        If a parameter is outside its range.

    Notes
    -----
    Sources: momentum theory ``P = T^1.5 / sqrt(2 rho A)``; forward flight Zeng, Xu and Zhang (2019), IEEE Trans.
    Wireless Commun. 18(4):2329-2345, eq. 12, as electrical power. Other than there, profile power grows with mass^1.5
    as induced power does: a multirotor answers load by rotor speed, thrust goes with its square, profile power with
    its cube.
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
        """Check the ranges."""
        even = " and even" if self.coaxial else ""
        for name, right, allowed in (
            ("rotor_count", self.rotor_count >= 1 and not (self.coaxial and self.rotor_count % 2), f"at least 1{even}"),
            ("rotor_diameter_m", 0.0 < self.rotor_diameter_m < math.inf, "above 0"),
            ("figure_of_merit", 0.0 < self.figure_of_merit <= 1.0, "above 0, at most 1 (the momentum limit)"),
            ("fixed_power_w", 0.0 <= self.fixed_power_w < math.inf, "zero or more"),
            ("profile_share", 0.0 <= self.profile_share < 1.0, "0 to below 1"),
            ("tip_speed_m_per_s", 0.0 < self.tip_speed_m_per_s < math.inf, "above 0"),
            ("drag_area_m2", 0.0 <= self.drag_area_m2 < math.inf, "zero or more"),
            ("coaxial_factor", 1.0 <= self.coaxial_factor <= 1.5, "1 to 1.5"),
            ("drive_efficiency", 0.0 < self.drive_efficiency <= 1.0, "above 0, at most 1"),
        ):
            if not right:
                raise ValueError(f"{name}: got {getattr(self, name)!r}, allowed {allowed}")

    @property
    def disc_area_m2(self) -> float:
        """Area of the rotor discs seen from above, m2; a coaxial pair counts once."""
        discs = self.rotor_count // 2 if self.coaxial else self.rotor_count
        return discs * math.pi * self.rotor_diameter_m**2 / 4.0

    @property
    def effective_area_m2(self) -> float:
        """Area of the single disc with the same ideal power, m2: of a coaxial pair 2 / coaxial_factor^2 of its disc."""
        return self.disc_area_m2 * (2.0 / self.coaxial_factor**2 if self.coaxial else 1.0)

    @overload
    def momentum_limit_w(self, mass: float, density: float) -> float: ...
    @overload
    def momentum_limit_w(self, mass: NDArray[np.float64], density: float) -> NDArray[np.float64]: ...
    def momentum_limit_w(self, mass: _Floats, density: float) -> _Floats:
        """Return the least power at which momentum theory allows hover.

        Parameters
        ----------
        mass : float or ndarray
            All-up mass, kg.
        density : float
            Air density, kg/m3.

        Returns
        -------
        float or ndarray
            Ideal induced power ``T^1.5 / sqrt(2 rho A)``, W, with the interference of a coaxial layout.

        Raises
        ------
        ValueError
            If the mass or the density is not above zero.
        """
        _positive("mass", mass)
        _positive("density", density)
        thrust_n = mass * GRAVITY_M_PER_S2
        return thrust_n**1.5 / math.sqrt(2.0 * density * self.effective_area_m2)

    @overload
    def hover_power_w(self, mass_kg: float, density: float) -> float: ...
    @overload
    def hover_power_w(self, mass_kg: NDArray[np.float64], density: float) -> NDArray[np.float64]: ...
    def hover_power_w(self, mass_kg: _Floats, density: float) -> _Floats:
        """Return the electrical power in hover.

        Parameters
        ----------
        mass_kg : float or ndarray
            All-up mass, kg.
        density : float
            Air density, kg/m3.

        Returns
        -------
        float or ndarray
            Power, W, in the shape of `mass_kg`.

        Raises
        ------
        ValueError
            If the mass or the density is not above zero.
        """
        return self.momentum_limit_w(mass_kg, density) / self.figure_of_merit + self.fixed_power_w

    @overload
    def forward_power_w(
        self,
        mass_kg: float,
        speed_m_per_s: float,
        density: float,
        climb_m_per_s: float = ...,
        headwind_m_per_s: float = ...,
    ) -> float: ...
    @overload
    def forward_power_w(
        self,
        mass_kg: NDArray[np.float64],
        speed_m_per_s: _Floats,
        density: float,
        climb_m_per_s: float = ...,
        headwind_m_per_s: float = ...,
    ) -> NDArray[np.float64]: ...
    @overload
    def forward_power_w(
        self,
        mass_kg: float,
        speed_m_per_s: NDArray[np.float64],
        density: float,
        climb_m_per_s: float = ...,
        headwind_m_per_s: float = ...,
    ) -> NDArray[np.float64]: ...
    def forward_power_w(
        self,
        mass_kg: _Floats,
        speed_m_per_s: _Floats,
        density: float,
        climb_m_per_s: float = 0.0,
        headwind_m_per_s: float = 0.0,
    ) -> _Floats:
        """Return the electrical power in steady forward flight; at no airspeed and no climb exactly that of hover.

        Parameters
        ----------
        mass_kg : float or ndarray
            All-up mass, kg.
        speed_m_per_s : float or ndarray
            Ground speed, m/s, zero or more.
        density : float
            Air density, kg/m3.
        climb_m_per_s : float
            Rate of climb, m/s; a descent (below zero) gives nothing back (assumption, the safe side).
        headwind_m_per_s : float
            Wind against the flight, m/s; a tail wind is below zero. The airspeed is ground speed plus head wind.

        Returns
        -------
        float or ndarray
            Power, W, in the broadcast shape.

        Raises
        ------
        ValueError
            If mass or density is not above zero, or the speed is below zero or not a number.

        Notes
        -----
        Source: Zeng, Xu and Zhang (2019), eq. 12; climb as weight times rate of climb (excess power, Leishman 2006,
        section 5.4, from memory).
        """
        if not np.all(np.asarray(speed_m_per_s) >= 0.0):
            raise ValueError(f"speed_m_per_s: got {speed_m_per_s!r}, allowed zero or more")
        ideal_w = self.momentum_limit_w(mass_kg, density)
        airspeed: _Floats = np.abs(speed_m_per_s + headwind_m_per_s)
        weight_n = mass_kg * GRAVITY_M_PER_S2
        shape = _lift_power_ratio(airspeed, ideal_w / weight_n, self.profile_share, self.tip_speed_m_per_s)
        drag_w = 0.5 * density * self.drag_area_m2 * airspeed**3
        climb_w = weight_n * max(0.0, climb_m_per_s)
        return ideal_w / self.figure_of_merit * shape + (drag_w + climb_w) / self.drive_efficiency + self.fixed_power_w


class FlightShape(TypedDict, total=False):
    """What calibration does not fit: the optional parameters of `FlightModel` that it hands on."""

    profile_share: float
    tip_speed_m_per_s: float
    drag_area_m2: float
    coaxial_factor: float
    drive_efficiency: float


def _induced_ratio(airspeed_m_per_s: _Floats, hover_induced_m_per_s: _Floats) -> _Floats:
    """Return induced power at an airspeed over that in hover; 1 at rest, falling with speed."""
    half_square = airspeed_m_per_s**2 / (2.0 * hover_induced_m_per_s**2)
    # Same as sqrt(sqrt(1 + x^2) - x), without its loss of digits at high speed.
    ratio: _Floats = 1.0 / np.sqrt(np.sqrt(1.0 + half_square**2) + half_square)
    return ratio


def _lift_power_ratio(
    airspeed_m_per_s: _Floats, hover_induced_m_per_s: _Floats, profile_share: float, tip_speed_m_per_s: float
) -> _Floats:
    """Return profile plus induced power at an airspeed over that in hover."""
    profile = 1.0 + 3.0 * airspeed_m_per_s**2 / tip_speed_m_per_s**2
    induced = _induced_ratio(airspeed_m_per_s, hover_induced_m_per_s)
    # Written around 1 so that rest gives 1 to the last bit.
    return 1.0 + profile_share * (profile - 1.0) + (1.0 - profile_share) * (induced - 1.0)


def zeng_power_w(
    speed_m_per_s: _Floats,
    weight_n: float = 20.0,
    density: float = 1.225,
    rotor_radius_m: float = 0.4,
    disc_area_m2: float = 0.503,
    blade_speed_rad_per_s: float = 300.0,
    tip_speed_m_per_s: float = 120.0,
    solidity: float = 0.05,
    drag_ratio: float = 0.6,
    induced_correction: float = 0.1,
    hover_induced_m_per_s: float = 4.03,
    profile_drag: float = 0.012,
) -> _Floats:
    """Return the propulsion power of the aircraft of Zeng, Xu and Zhang (2019), for checks against the paper.

    Parameters
    ----------
    speed_m_per_s : float or ndarray
        Airspeed V, m/s.
    weight_n, density, rotor_radius_m, disc_area_m2, blade_speed_rad_per_s, tip_speed_m_per_s, solidity, drag_ratio
        The paper's W (N), rho (kg/m3), R (m), A (m2), Omega (rad/s), U_tip (m/s), s and d_0.
    induced_correction, hover_induced_m_per_s, profile_drag
        The paper's k, v_0 (m/s) and delta.

    Returns
    -------
    float or ndarray
        Power, W, in the shape of `speed_m_per_s`.

    Notes
    -----
    Source: Zeng Y., Xu J., Zhang R. (2019), Energy Minimization for Wireless Communication With Rotary-Wing UAV, IEEE
    Trans. Wireless Commun. 18(4):2329-2345, eq. 12 and table I. Defaults are the paper's, v_0 rounded as printed there.
    """
    profile_w = profile_drag / 8.0 * density * solidity * disc_area_m2 * blade_speed_rad_per_s**3 * rotor_radius_m**3
    induced_w = (1.0 + induced_correction) * weight_n**1.5 / math.sqrt(2.0 * density * disc_area_m2)
    drag_w = 0.5 * drag_ratio * density * solidity * disc_area_m2 * speed_m_per_s**3
    power_w: _Floats = (
        profile_w * (1.0 + 3.0 * speed_m_per_s**2 / tip_speed_m_per_s**2)
        + induced_w * _induced_ratio(speed_m_per_s, hover_induced_m_per_s)
        + drag_w
    )
    return power_w


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


def _fit(lift_w: NDArray[np.float64], power_w: NDArray[np.float64], fit_fixed: bool) -> tuple[float, float]:
    """Return 1 / figure of merit and fixed power by least squares of the relative error."""
    weighted = lift_w / power_w
    if fit_fixed:
        columns = np.column_stack([weighted, 1.0 / power_w])
        inverse_merit, fixed_power_w = np.linalg.lstsq(columns, np.ones(len(power_w)), rcond=None)[0]
        # A slightly negative fixed power is rounding in the data: drop it and let the merit carry the mean.
        if fixed_power_w >= 0.0 or fixed_power_w < -FIXED_POWER_TOLERANCE * float(power_w.min()):
            return float(inverse_merit), float(fixed_power_w)
    return float(weighted.sum() / (weighted**2).sum()), 0.0


def calibrate(
    rotor_count: int,
    rotor_diameter_m: float,
    coaxial: bool,
    pack_wh: float,
    usable_share: float,
    hover_points: Sequence[tuple[float, float]],
    density: float = 1.225,
    **shape: Unpack[FlightShape],
) -> FlightModel:
    """Fit a flight model to hover minutes as a spec sheet gives them.

    Parameters
    ----------
    rotor_count, rotor_diameter_m, coaxial
        As for `FlightModel`.
    pack_wh : float
        Energy of the full pack that the minutes were flown on, Wh.
    usable_share : float
        Share of it that those minutes used; above 0, at most 1.
    hover_points : sequence of (float, float)
        All-up mass, kg, and hover time, min. One point fits the figure of merit with no fixed power; two fit both; more
        are fitted by least squares of the relative error.
    density : float
        Air density of the test, kg/m3. Default: standard sea level.
    **shape : float
        Any of `profile_share`, `tip_speed_m_per_s`, `drag_area_m2`, `coaxial_factor` and `drive_efficiency`, as for
        `FlightModel` and with its defaults.

    Returns
    -------
    FlightModel
        Reproduces one or two points exactly, unless a slightly negative fixed power was set to zero.

    Raises
    ------
    ValueError
        If an input is out of range, two points share a mass, a point lies below the momentum limit, or the fit is
        implausible; the message says which and what is allowed.
    """
    _positive("pack_wh", pack_wh)
    if not 0.0 < usable_share <= 1.0:
        raise ValueError(f"usable_share: got {usable_share!r}, allowed above 0, at most 1")
    if not hover_points:
        raise ValueError("hover_points: got none, allowed one or more (mass_kg, minutes)")
    # The lift power of a model at figure of merit 1 is what calibration then scales.
    unit = FlightModel(rotor_count, rotor_diameter_m, coaxial, 1.0, **shape)
    mass_kg, minutes = np.asarray(hover_points, dtype=np.float64).T
    _positive("hover_points mass_kg", mass_kg)
    _positive("hover_points minutes", minutes)
    if len(np.unique(mass_kg)) < len(mass_kg):
        raise ValueError(f"hover_points: got {list(hover_points)!r}, allowed each mass once")
    power_w = pack_wh * usable_share * 60.0 / minutes
    limit_w = unit.momentum_limit_w(mass_kg, density)
    for mass, power, limit in zip(mass_kg, power_w, limit_w, strict=True):
        if power <= limit:
            raise ValueError(
                f"hover at {mass:g} kg: the pack would last so long only at {power:.0f} W, but rotor discs of"
                f" {unit.disc_area_m2:.2f} m2 need more than {limit:.0f} W to hold it: the hover time is too long for"
                " this mass, the tank too heavy for these rotors, or the pack's energy too small"
            )
    inverse_merit, fixed_power_w = _fit(limit_w, power_w, len(mass_kg) > 1)
    return _finish(unit, inverse_merit, fixed_power_w, float(power_w.min()))


def calibrate_from_load_use(
    rotor_count: int,
    rotor_diameter_m: float,
    coaxial: bool,
    pack_wh: float,
    empty_mass_kg: float,
    logged_loads: Sequence[tuple[float, float, float]],
    density: float = 1.225,
    *,
    speed_m_per_s: float = 0.0,
    fixed_power_w: float | None = 0.0,
    **shape: Unpack[FlightShape],
) -> FlightModel:
    """Fit a flight model to an owner's log of how much of the pack each load took.

    Parameters
    ----------
    rotor_count, rotor_diameter_m, coaxial
        As for `FlightModel`.
    pack_wh : float
        Energy of the full pack as it now is, Wh.
    empty_mass_kg : float
        All-up mass with the pack and an empty tank, kg.
    logged_loads : sequence of (float, float, float)
        Load at take-off, kg; minutes airborne; share of the pack used (0 to 1). The load is taken to fall evenly to
        nothing over the minutes airborne.
    density : float
        Air density of the flights, kg/m3. Default: standard sea level.
    speed_m_per_s : float
        Typical airspeed of the flights, m/s. Default 0: as if hovering, which overstates the figure of merit a little.
    fixed_power_w : float or None
        Power that does not depend on mass, W; None fits it too, which takes loads of clearly different size.
    **shape : float
        Any of `profile_share`, `tip_speed_m_per_s`, `drag_area_m2`, `coaxial_factor` and `drive_efficiency`, as for
        `FlightModel` and with its defaults.

    Returns
    -------
    FlightModel
        Best fit by least squares of the relative error.

    Raises
    ------
    ValueError
        If an input is out of range, `fixed_power_w` is None and all loads are equal, a log entry lies below the
        momentum limit, or the fit is implausible.
    """
    _positive("pack_wh", pack_wh)
    _positive("empty_mass_kg", empty_mass_kg)
    if not logged_loads:
        raise ValueError("logged_loads: got none, allowed one or more (load_kg, minutes, share_used)")
    load_kg, minutes, share_used = np.asarray(logged_loads, dtype=np.float64).T
    if not np.all((load_kg >= 0.0) & np.isfinite(load_kg)):
        raise ValueError(f"logged_loads load_kg: got {load_kg.tolist()!r}, allowed zero or more")
    _positive("logged_loads minutes", minutes)
    if not np.all((share_used > 0.0) & (share_used <= 1.0)):
        raise ValueError(f"logged_loads share_used: got {share_used.tolist()!r}, allowed above 0, at most 1")
    fit_fixed = fixed_power_w is None
    if fit_fixed and len(np.unique(load_kg)) < 2:
        raise ValueError("fixed_power_w: got None with loads of one size, allowed a number, or loads of different size")
    # The lift power of a model at figure of merit 1 is what calibration then scales.
    unit = FlightModel(rotor_count, rotor_diameter_m, coaxial, 1.0, **shape)
    power_w = pack_wh * share_used * 60.0 / minutes
    nodes, weights = np.polynomial.legendre.leggauss(6)
    mass_kg = empty_mass_kg + load_kg[:, None] * (nodes + 1.0) / 2.0
    drag_w = 0.5 * density * unit.drag_area_m2 * speed_m_per_s**3 / unit.drive_efficiency
    lift_w = unit.forward_power_w(mass_kg, speed_m_per_s, density) @ (weights / 2.0) - drag_w
    lift_power_w = power_w - drag_w - (fixed_power_w or 0.0)
    for load, power, limit in zip(load_kg, lift_power_w, lift_w, strict=True):
        if power <= limit:
            raise ValueError(
                f"load of {load:g} kg: the flights used {power:.0f} W for lift, but the rotors need more than"
                f" {limit:.0f} W to hold it: the minutes are too long, the share used too small, or the load too heavy"
            )
    inverse_merit, fitted_w = _fit(lift_w, lift_power_w, fit_fixed)
    return _finish(unit, inverse_merit, fixed_power_w if fixed_power_w is not None else fitted_w, float(power_w.min()))


def cubic_power(
    model: FlightModel,
    speed: float,
    density: float,
    mass_low_kg: float,
    mass_high_kg: float,
    climb_m_per_s: float = 0.0,
    headwind_m_per_s: float = 0.0,
) -> tuple[float, float, float, float]:
    """Fit power against mass by a cubic, so that the energy of a flight with a falling mass has a closed form.

    Parameters
    ----------
    model : FlightModel
        The aircraft.
    speed : float
        Ground speed, m/s.
    density : float
        Air density, kg/m3.
    mass_low_kg, mass_high_kg : float
        Range of all-up mass to fit, kg; may be equal.
    climb_m_per_s, headwind_m_per_s : float
        As for `FlightModel.forward_power_w`.

    Returns
    -------
    tuple of float
        Coefficients of mass^0 to mass^3: W, W/kg, W/kg2, W/kg3. Relative error below 2e-4 up to a mass ratio of
        2.3, below 6e-4 up to 3.

    Raises
    ------
    ValueError
        If the masses are not above zero or out of order, or the model refuses the flight.
    """
    _positive("mass_low_kg", mass_low_kg)
    if not mass_low_kg <= mass_high_kg < math.inf:
        raise ValueError(f"mass_high_kg: got {mass_high_kg!r}, allowed at least mass_low_kg {mass_low_kg!r}, finite")
    if mass_high_kg - mass_low_kg < 1e-6 * mass_low_kg:
        return (model.forward_power_w(mass_low_kg, speed, density, climb_m_per_s, headwind_m_per_s), 0.0, 0.0, 0.0)
    # Chebyshev nodes keep the least-squares fit near the best uniform one.
    nodes = np.cos(np.pi * (np.arange(24) + 0.5) / 24.0)
    mass_kg = (mass_low_kg + mass_high_kg) / 2.0 + (mass_high_kg - mass_low_kg) / 2.0 * nodes
    power_w = model.forward_power_w(mass_kg, speed, density, climb_m_per_s, headwind_m_per_s)
    fit = np.polynomial.Polynomial.fit(mass_kg, power_w, 3, w=1.0 / power_w)
    coefficients = np.zeros(4)
    converted = fit.convert().coef
    coefficients[: len(converted)] = converted
    c0, c1, c2, c3 = coefficients.tolist()
    return (c0, c1, c2, c3)


def cubic_value(c: tuple[float, float, float, float], m: float) -> float:
    """Return the power of a cubic at a mass.

    Parameters
    ----------
    c : tuple of float
        Coefficients from `cubic_power`.
    m : float
        All-up mass, kg.

    Returns
    -------
    float
        Power, W.
    """
    c0, c1, c2, c3 = c
    return c0 + m * (c1 + m * (c2 + m * c3))


def cubic_mean(c: tuple[float, float, float, float], m1: float, m2: float) -> float:
    """Return the mean power while the mass changes evenly from one value to another.

    Parameters
    ----------
    c : tuple of float
        Coefficients from `cubic_power`.
    m1, m2 : float
        All-up mass at start and end, kg, in either order; may be equal.

    Returns
    -------
    float
        Power, W. The integral's difference quotient is written out as symmetric sums, so nothing cancels when the two
        masses are close or equal.
    """
    c0, c1, c2, c3 = c
    total = m1 + m2
    squares = m1 * m1 + m2 * m2
    return c0 + c1 * total / 2.0 + c2 * (squares + m1 * m2) / 3.0 + c3 * total * squares / 4.0
