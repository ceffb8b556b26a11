"""Invented observations of the closure joint: four free set-ups, two faces, two sets, by seed.

Two set-ups stand on the deck, one on either segment, and two beside it on the pier tables, from
where the soffit is seen. Every constant, error and name is invented.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

GON = np.pi / 200.0
#: standard uncertainty of a direction and a zenith angle in two faces [rad]
U_ANGLE = 0.3e-3 * GON
#: of a distance: constant part [m] and share
U_SD, SHARE = 0.0008, 1.5e-6
#: of a prism over its mark, anew for every set-up [m]
CENTRING = 0.0004
#: errors of the instrument that two faces take out [rad]
COLLIMATION, INDEX = 1.8e-3 * GON, -2.6e-3 * GON
RADIUS, REFRACTION = 6371e3, 0.13
CONTROL = {
    "CP1": (-70.0, 40.0, 2.0),
    "CP2": (70.0, -40.0, 1.0),
    "CP3": (-62.0, -46.0, 4.0),
    "CP4": (66.0, 44.0, 3.0),
}
#: station, left, down; and the circle's zero [gon]
SETUPS = {
    "ST1": (-18.0, 1.5, -1.6, 63.0),
    "ST2": (21.0, -2.0, -1.6, 211.0),
    "ST3": (-34.0, -33.0, 6.0, 118.0),
    "ST4": (36.0, 31.0, 6.0, 347.0),
}
#: constant of the small prisms at the soffit [mm], still to be added
SOFFIT_PRISM = 16.9


def observation_files(
    there: dict[str, np.ndarray], on_deck: Callable[..., np.ndarray]
) -> dict[str, str]:
    """Name and text of control.csv, instruments.csv and the shots of the night."""
    rng = np.random.default_rng(20310404)
    pillars = {name: on_deck(*spot) for name, spot in CONTROL.items()}
    control = [f"{n},weighted,{p[0]:.4f},{p[1]:.4f},{p[2]:.4f},1,1,1" for n, p in pillars.items()]
    # the pillars are where control.csv has them but for its uncertainty
    real = {name: p + rng.normal(0.0, 0.001, 3) for name, p in pillars.items()}
    rows = []
    minute = 190.0
    for setup, (station, left, down, zero) in SETUPS.items():
        place = on_deck(station, left, down)
        seen = {
            n: p + rng.normal(0.0, CENTRING, 3) * [1.0, 1.0, 0.0]
            for n, p in {**there, **real}.items()
        }
        names = [n for n in there if _seen(n, setup)] + list(real)
        for number in (1, 2):
            for face in (1, 2):
                for name in names if face == 1 else names[::-1]:
                    minute += 0.45
                    prism = SOFFIT_PRISM if name.endswith(("SL", "SR")) else 0.0
                    shot = shot_text(place, seen[name], zero, face, prism, rng)
                    rows.append(f"{setup},{name},{face},{number},{shot},{_clock(minute)},9,978,78")
    header = (
        "setup,target,face,set,hz_gon,v_gon,sd_m,prism_mm,time,temperature_C,pressure_hPa,"
        "humidity_pct"
    )
    return {
        "control.csv": "id,use,E_m,N_m,H_m,u_E_mm,u_N_mm,u_H_mm\n" + "\n".join(control) + "\n",
        "instruments.csv": (
            "id,u_hz_mgon,u_v_mgon,u_sd_mm,u_sd_ppm,target_centring_mm,wavelength_nm,reference_C,"
            "reference_pressure_hPa\nTS1,0.3,0.3,0.8,1.5,0.4,658,12,1013.25\n"
        ),
        "night-14-shots.csv": f"# night 14, deck closed to plant\n{header}\n"
        + "\n".join(rows)
        + "\n",
    }


def _seen(name: str, setup: str) -> bool:
    """From the deck what is on the deck; from the pier tables the soffit and the near edge."""
    soffit = name.endswith(("SL", "SR"))
    return not soffit if setup in ("ST1", "ST2") else soffit


def shot_text(
    place: np.ndarray,
    target: np.ndarray,
    zero: float,
    face: int,
    prism: float,
    rng: np.random.Generator,
) -> str:
    """One pointing as read: circle, zenith angle, displayed distance, constant to be added [mm]."""
    step = target - place
    flat = np.hypot(step[0], step[1])
    rise = step[2] - (1.0 - REFRACTION) / (2.0 * RADIUS) * flat**2
    hz = np.arctan2(step[0], step[1]) - zero * GON + rng.normal(0.0, np.sqrt(2.0) * U_ANGLE)
    v = np.arctan2(flat, rise) + rng.normal(0.0, np.sqrt(2.0) * U_ANGLE)
    length = float(np.hypot(flat, step[2] - flat**2 / (2.0 * RADIUS)))
    length += rng.normal(0.0, np.sqrt(2.0) * (U_SD + SHARE * length))
    shown = length / (1.0 + _air()) - prism / 1000.0
    hz += COLLIMATION / np.sin(v) if face == 1 else np.pi - COLLIMATION / np.sin(v)
    v = v + INDEX if face == 1 else 2.0 * np.pi - v + INDEX
    return f"{hz / GON % 400.0:.5f},{v / GON:.5f},{shown:.4f},{prism:g}"


def _air() -> float:
    """Share to add to a displayed distance at 9.0 C, 978.0 hPa, 78 %, reference 12 C, 1013.25."""

    def refractivity(celsius: float, pressure: float, humidity: float) -> float:
        vapour = humidity * 6.1121 * np.exp(17.502 * celsius / (240.97 + celsius))
        kelvin = 273.15 + celsius
        group = 287.6155 + 4.88660 / 0.658**2 + 0.06800 / 0.658**4
        return float(273.15 / 1013.25 * group * pressure / kelvin - 11.27 * vapour / kelvin)

    return (refractivity(12.0, 1013.25, 0.6) - refractivity(9.0, 978.0, 0.78)) * 1e-6


def _clock(minute: float) -> str:
    seconds = round(minute * 60.0)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
