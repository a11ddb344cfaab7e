"""What the air takes from a sound on its way, by frequency.

In: frequencies in Hz, temperature, humidity, air pressure. Out: attenuation in dB/m.
Source: ISO 9613-1:1993, equations (3) to (5) and annex B; tests hold it to points of its Table 1.
Leaves out: wind, layers of warm and cold air, fog and rain.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError

REFERENCE_KPA = 101.325  # ISO 9613-1:1993, 4.1
REFERENCE_K = 293.15  # same: 20 °C
TRIPLE_POINT_K = 273.16  # ISO 9613-1:1993, annex B
ZERO_C_K = 273.15
USUAL_C = 10.0  # the first row of ISO 9613-2:1996, Table 2, and a usual evening
USUAL_PERCENT = 70.0


def air_absorption_db_m(
    frequencies_hz: NDArray[np.float64],
    *,
    temperature_c: float = USUAL_C,
    humidity_percent: float = USUAL_PERCENT,
    pressure_kpa: float = REFERENCE_KPA,
) -> NDArray[np.float64]:
    """Give the attenuation of sound by the air, by frequency.

    Source: ISO 9613-1:1993, equations (3) to (5), saturation pressure by its annex B.

    Parameters
    ----------
    frequencies_hz
        Shape (n,), Hz, each above 0. Exact band centres, not their rounded names.
    temperature_c
        Air temperature, -20 to 50 °C.
    humidity_percent
        Relative humidity, above 0 and not above 100 %.
    pressure_kpa
        Air pressure, above 0 and below 200 kPa, the standard's range.

    Returns
    -------
    NDArray
        Shape (n,), dB/m.

    Raises
    ------
    BadValueError
        A value is outside its range.
    """
    f_hz = np.asarray(frequencies_hz, dtype=np.float64)
    if not np.all(np.isfinite(f_hz) & (f_hz > 0)):
        raise BadValueError("frequency", f_hz.tolist(), "frequencies above 0 Hz")
    if not -20 <= temperature_c <= 50:
        raise BadValueError("air temperature", temperature_c, "one from -20 to 50 °C")
    if not 0 < humidity_percent <= 100:
        raise BadValueError("humidity", humidity_percent, "a percentage above 0 and not above 100")
    if not 0 < pressure_kpa < 200:
        raise BadValueError("air pressure", pressure_kpa, "one above 0 and below 200 kPa")
    kelvin = temperature_c + ZERO_C_K
    pressure, warmth = pressure_kpa / REFERENCE_KPA, kelvin / REFERENCE_K
    saturation = 10 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)  # (B.3), over 101.325 kPa
    water = humidity_percent * saturation / pressure  # (B.1), molar percentage
    oxygen_hz = pressure * (24 + 4.04e4 * water * (0.02 + water) / (0.391 + water))  # (3)
    nitrogen_hz = (  # (4)
        pressure * warmth**-0.5 * (9 + 280 * water * np.exp(-4.170 * (warmth ** (-1 / 3) - 1)))
    )
    classical = 1.84e-11 / pressure * warmth**0.5
    relaxed = warmth**-2.5 * (
        0.01275 * np.exp(-2239.1 / kelvin) / (oxygen_hz + f_hz**2 / oxygen_hz)
        + 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen_hz + f_hz**2 / nitrogen_hz)
    )
    return np.asarray(8.686 * f_hz**2 * (classical + relaxed), dtype=np.float64)  # (5)
