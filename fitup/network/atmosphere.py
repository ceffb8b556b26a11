"""What air does to a measured distance: the first velocity correction.

IAG Resolution 3, XXIIth General Assembly, Birmingham 1999, closed formula, with the saturation
pressure over water after Magnus as given by Sonntag (1990).
"""

from __future__ import annotations

import math


def group_refractivity(wavelength: float) -> float:
    """Group refractivity of standard air (0 C, 1013.25 hPa, dry, 0.0375 % CO2) [1e-6].

    Parameters
    ----------
    wavelength : float
        Of the carrier [um].

    Examples
    --------
    >>> round(group_refractivity(0.658), 4)
    299.2646
    """
    return 287.6155 + 4.88660 / wavelength**2 + 0.06800 / wavelength**4


def vapour_pressure(temperature: float, humidity: float) -> float:
    """Partial pressure of water vapour [hPa].

    Parameters
    ----------
    temperature : float
        Of the air [K].
    humidity : float
        Relative, from 0 to 1.
    """
    celsius = temperature - 273.15
    return humidity * 6.1121 * math.exp(17.502 * celsius / (240.97 + celsius))


def refractivity(wavelength: float, temperature: float, pressure: float, humidity: float) -> float:
    """Group refractivity of air at its state [1e-6].

    Parameters
    ----------
    wavelength : float
        [um]
    temperature, pressure, humidity : float
        [K], [Pa], [1]
    """
    hectopascal = pressure / 100.0
    vapour = vapour_pressure(temperature, humidity)
    dry = 273.15 / 1013.25 * group_refractivity(wavelength) * hectopascal / temperature
    return dry - 11.27 * vapour / temperature


def velocity_correction(
    wavelength: float,
    reference: tuple[float, float, float],
    air: tuple[float, float, float],
) -> float:
    """Share of a displayed distance that is to be added for the air it was measured in.

    Parameters
    ----------
    wavelength : float
        [um]
    reference, air : tuple
        Temperature [K], pressure [Pa] and humidity [1] at which the instrument shows true
        distances, and at the measurement.

    Examples
    --------
    One kelvin warmer than the reference makes a distance about one millionth longer.

    >>> reference = (285.15, 101325.0, 0.6)
    >>> round(velocity_correction(0.658, reference, (286.15, 101325.0, 0.6)) * 1e6, 1)
    1.0
    """
    true, displayed = refractivity(wavelength, *air), refractivity(wavelength, *reference)
    return (displayed - true) * 1e-6 / (1.0 + true * 1e-6)
