"""Temperature of a sealed box: free convection and radiation outside, air or potting inside.

A box hangs level, its two large faces up and down.  In free air all six faces shed heat;
behind a module the face towards it sheds none by convection and exchanges radiation with
the back of the module.
"""

from __future__ import annotations

import math

from models.axes import Array, array_namespace

KELVIN = 273.15  # [K] at 0 °C, by definition
STEFAN_BOLTZMANN = 5.670374e-8  # [W/(m²·K⁴)], exact from the SI of 2019
GRAVITY = 9.81  # [m/s²], standard value rounded
PRANDTL = 0.707  # [1], air from 300 to 400 K (Incropera and DeWitt, from memory)

# Rises are looked for between these bounds [K]; a box past the upper one is burnt.
RISE_MIN, RISE_MAX = -60.0, 200.0

# Heat transfer from the inside to the wall [W/(m²·K)]: two films of still air, or
# 0.8 W/(m·K) of potting over 8 mm; common practice, no source.
INSIDE_AIR, INSIDE_POTTED = 6.0, 100.0


def vertical_plate(log_rayleigh: Array) -> Array:
    """Return the mean Nusselt number of a vertical face.

    Nu = [0.825 + 0.387·Ra^(1/6) / (1 + (0.492/Pr)^(9/16))^(8/27)]²,  Pr of air

    Laminar flow (Ra from 1e4 to 1e6, as on the sides of a flat box) sheds 2 to 9 % more.

    Parameters
    ----------
    log_rayleigh : Array
        Natural logarithm of the Rayleigh number of the height [1].

    Source
    ------
    S. W. Churchill and H. H. S. Chu, "Correlating equations for laminar and turbulent
    free convection from a vertical plate", Int. J. Heat Mass Transfer 18, 1975 (from
    memory).
    """
    xp = array_namespace(log_rayleigh)
    factor = 0.387 / (1.0 + (0.492 / PRANDTL) ** (9 / 16)) ** (8 / 27)
    root = 0.825 + factor * xp.exp(log_rayleigh / 6.0)
    return root * root


def plate_facing_up(log_rayleigh: Array) -> Array:
    """Return the mean Nusselt number of a warm face that looks up: 0.54·Ra^¼.

    For Ra below 1e7, which a face of area over perimeter up to 0.1 m keeps; beyond, the
    flow is turbulent and sheds more.

    Parameters
    ----------
    log_rayleigh : Array
        Natural logarithm of the Rayleigh number of area over perimeter [1].

    Source
    ------
    F. P. Incropera et al., "Fundamentals of Heat and Mass Transfer", 7th ed., 2011,
    chapter 9 (from memory).
    """
    return 0.54 * array_namespace(log_rayleigh).exp(log_rayleigh / 4.0)


def plate_facing_down(log_rayleigh: Array) -> Array:
    """Return the mean Nusselt number of a warm face that looks down: 0.52·Ra^⅕.

    Parameters
    ----------
    log_rayleigh : Array
        Natural logarithm of the Rayleigh number of area over perimeter [1].

    Source
    ------
    As ``plate_facing_up``.
    """
    return 0.52 * array_namespace(log_rayleigh).exp(log_rayleigh / 5.0)


def radiation(t_surface: Array, t_around: Array, emissivity: Array | float) -> Array:
    """Return the radiative heat transfer coefficient: ε·σ·(T_s² + T_a²)·(T_s + T_a).

    Parameters
    ----------
    t_surface, t_around : Array
        Temperatures of the surface and of what it faces [°C].
    emissivity : Array or float
        Emissivity ε [1]; 0.85 to 0.9 painted or anodised, 0.1 to 0.2 bare aluminium.

    Returns
    -------
    Array
        Coefficient [W/(m²·K)].

    Source
    ------
    Stefan-Boltzmann law for a small grey body in wide surroundings.
    """
    t_s, t_a = t_surface + KELVIN, t_around + KELVIN
    return emissivity * STEFAN_BOLTZMANN * (t_s * t_s + t_a * t_a) * (t_s + t_a)


def convection(
    length: Array,
    width: Array,
    height: Array,
    *,
    t_surface: Array,
    t_air: Array,
    top: bool = True,
) -> Array:
    """Return the convective conductance of a level box in still air.

    Σ Nu·k/X·A over four vertical faces (X: height), the upper and the lower one (X: area
    over perimeter), with the properties of air at the film temperature T_f:
    k = 0.0263·(T_f/300)^0.81 W/(m·K), ν = 15.89e-6·(T_f/300)^1.76 m²/s, within 1.8 % of
    the tables from 300 to 400 K.  At sea level; wind is left out, so the box is cooler in
    truth.

    Parameters
    ----------
    length, width, height : Array
        Outer size [m].
    t_surface, t_air : Array
        Temperatures of the wall and the air [°C].
    top : bool
        Whether the upper face has air to move in.

    Returns
    -------
    Array
        Conductance [W/K].

    Source
    ------
    Properties of air fitted to textbook tables (from memory); each face taken alone.
    """
    xp = array_namespace(length, t_surface)
    face, sides = length * width, 2.0 * (length + width) * height
    reach = 0.5 * face / (length + width)
    log_film = xp.log((0.5 / 300.0) * (t_surface + t_air) + KELVIN / 300.0)
    # Below a millikelvin nothing moves; the floor keeps the logarithm finite.
    rise = xp.maximum(xp.abs(t_surface - t_air), 1e-3)
    # ln(g·β·ΔT·Pr/ν²): logarithms, because exp is several times faster than a power.
    buoyancy = xp.log(rise) - 4.52 * log_film
    constant = math.log(GRAVITY / 300.0 * PRANDTL / 15.89e-6**2)
    low = buoyancy + (constant + 3.0 * xp.log(height))
    flat = buoyancy + (constant + 3.0 * xp.log(reach))
    per_kelvin = vertical_plate(low) * (sides / height) + plate_facing_down(flat) * (face / reach)
    if top:
        per_kelvin = per_kelvin + plate_facing_up(flat) * (face / reach)
    return 0.0263 * xp.exp(0.81 * log_film) * per_kelvin


def surface_temperature(
    length: Array,
    width: Array,
    height: Array,
    *,
    heat: Array,
    t_air: Array,
    emissivity: Array | float,
    t_module: Array | None = None,
) -> Array:
    """Return the wall temperature at which a box sheds its heat.

    Solves  P = G_c(T)·(T − T_air) + Σ h_r·A·(T − T_around)  by two Newton steps in which
    the convective slope is 5/4 of G_c, as for laminar flow.  Within 1e-3 of the rise up to
    100 K for a painted wall; held within −60 and 200 K of the air.

    Parameters
    ----------
    length, width, height : Array
        Outer size [m]; height is the vertical one.
    heat : Array
        Heat P to shed [W], at least 0.
    t_air : Array
        Air around the box [°C].
    emissivity : Array or float
        Emissivity of the wall [1].
    t_module : Array, optional
        Back of the module that the upper face looks at [°C].  Without it the box hangs
        in free air.

    Returns
    -------
    Array
        Uniform wall temperature [°C].

    Source
    ------
    Isothermal wall: common practice, no source; right for metal or potting, a plastic
    wall runs hotter over its sources.
    """
    xp = array_namespace(length, heat)
    face, sides = length * width, 2.0 * (length + width) * height
    behind = t_module is not None
    open_area = sides + face if behind else sides + 2.0 * face
    # Total coefficient 9.2 + 0.06·ΔT, and 6 from the module [W/(m²·K)]: fitted to this
    # model, only a start.  The upper face counts by its radiation.
    flux = heat / open_area
    if t_module is not None:
        absorbed = 6.0 * face * (t_module - t_air)
        flux = xp.maximum((heat + absorbed) / (open_area + 0.6 * face), -300.0)
    rise = 2.0 * flux / (9.2 + xp.sqrt(84.64 + 0.24 * flux))
    for _ in range(2):
        t = t_air + rise
        g = convection(length, width, height, t_surface=t, t_air=t_air, top=not behind)
        h = radiation(t, t_air, emissivity) * open_area
        shed = (g + h) * rise
        black = 4.0 * STEFAN_BOLTZMANN * emissivity * (t + KELVIN) ** 3
        slope = 1.25 * g + black * open_area
        if t_module is not None:
            shed = shed + radiation(t, t_module, emissivity) * face * (t - t_module)
            slope = slope + black * face
        rise = xp.clip(rise + (heat - shed) / slope, RISE_MIN, RISE_MAX)
    return t_air + rise


def inside_temperature(t_surface: Array, heat: Array, surface: Array, potted: Array) -> Array:
    """Return the temperature of air or potting in the box: T_s + P/(h_i·S).

    All heat is taken to cross the inside, though part of it enters the wall at once: the
    inside is somewhat cooler in truth.

    Parameters
    ----------
    t_surface : Array
        Wall [°C].
    heat : Array
        Heat P of everything inside [W].
    surface : Array
        Area S of the wall [m²].
    potted : Array
        1 in a potted box, else 0 [1].

    Returns
    -------
    Array
        Temperature [°C].

    Source
    ------
    Common practice, no source.
    """
    h = INSIDE_AIR + (INSIDE_POTTED - INSIDE_AIR) * potted
    return t_surface + heat / (h * surface)


def part_resistance(surface: Array, potted: Array) -> Array:
    """Return the thermal resistance from a small part to what is around it: 1/(h·S).

    h = 10 W/(m²·K) in still air, radiation included, and 27 W/(m²·K) in potting, in the
    proportion known of wound parts (1.2 to 0.45).

    Parameters
    ----------
    surface : Array
        Surface S of the part [m²].
    potted : Array
        1 in a potted box, else 0 [1].

    Returns
    -------
    Array
        Thermal resistance [K/W].

    Source
    ------
    Still air: handbook value from memory; potting: common practice, no source.
    """
    return 1.0 / ((10.0 + 17.0 * potted) * surface)
