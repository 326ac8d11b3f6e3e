"""Speed and absorption of sound in air, after ISO 9613-1:1993.

The constants are those of the standard, typed from memory of it and checked against its Table 1.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

REFERENCE_PRESSURE_KPA = 101.325  # ISO 9613-1, 4.2
REFERENCE_TEMPERATURE_K = 293.15  # ISO 9613-1, 4.2
TRIPLE_POINT_K = 273.16  # ISO 9613-1, annex B
KELVIN = 273.15
# The standard's own claim within 0.05 % to 5 % molar concentration of water vapour, 253–323 K.
ACCURACY = "±10 % (ISO 9613-1:1993, clause 7)"


def speed_of_sound(temperature_c: npt.ArrayLike) -> Array:
    """Speed of sound in air, 343.2 √(T / 293.15 K).

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Temperature. [°C]

    Returns
    -------
    ndarray, shape (...)
        [m/s] Humidity is left out, as in ISO 9613-1; humid air of 30 °C and 50 % is 0.4 % faster.
    """
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN
    return np.asarray(343.2 * np.sqrt(kelvin / REFERENCE_TEMPERATURE_K))


def absorption(
    frequency: npt.ArrayLike,
    temperature_c: npt.ArrayLike = 20.0,
    relative_humidity_pct: npt.ArrayLike = 50.0,
    pressure_kpa: npt.ArrayLike = REFERENCE_PRESSURE_KPA,
) -> Array:
    """Attenuation of a pure tone by the air, ISO 9613-1:1993 equations (3) to (5) and annex B.

    Parameters
    ----------
    frequency : array_like, broadcastable
        [Hz]
    temperature_c, relative_humidity_pct, pressure_kpa : array_like, broadcastable
        Temperature [°C], relative humidity [%], static pressure [kPa].

    Returns
    -------
    ndarray
        Attenuation coefficient. [dB/m] The standard claims ±10 % for it.

    Raises
    ------
    ValueError
        If a frequency, the humidity or the pressure is not positive, or the air is colder than 0 K.
    """
    f = np.asarray(frequency, dtype=float)
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN
    humidity = np.asarray(relative_humidity_pct, dtype=float)
    pressure = np.asarray(pressure_kpa, dtype=float) / REFERENCE_PRESSURE_KPA
    for what, value in (("frequency", f), ("humidity", humidity), ("pressure", pressure), ("temperature", kelvin)):
        if np.any(value <= 0):
            raise ValueError(f"{what} must be positive (temperature: above 0 K)")
    warmth = kelvin / REFERENCE_TEMPERATURE_K
    saturation = 10.0 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)  # (B.2), (B.3)
    vapour = humidity * saturation / pressure  # (B.1) [%]
    oxygen = pressure * (24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour))  # (3) [Hz]
    nitrogen = (
        pressure * warmth**-0.5 * (9.0 + 280.0 * vapour * np.exp(-4.170 * (warmth ** (-1.0 / 3.0) - 1.0)))  # (4) [Hz]
    )
    classical = 1.84e-11 / pressure * np.sqrt(warmth)
    relaxation = warmth**-2.5 * (
        0.01275 * np.exp(-2239.1 / kelvin) / (oxygen + f**2 / oxygen)
        + 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen + f**2 / nitrogen)
    )
    return np.asarray(8.686 * f**2 * (classical + relaxation))  # (5)
