"""What digital full scale stands for, and how sure that is.

In: a calibration as told, saved or guessed; findings about the recording. Out: a `Calibration`, widened by
what makes this recording less sure.
Source: uncertainties add in squares (ISO/IEC Guide 98-3, 5.1.2); typical phone from the Android Compatibility
Definition, 5.4 and 5.11: 94 dB at 520 and 90 dB at 2500 of 16-bit rms give 130.0 and 112.4 dB at full scale.
Leaves out: where calibrations are kept (analysis/).
"""

import math
from collections.abc import Iterable
from dataclasses import replace

from chatter.model import Finding
from chatter.model.noise import FULL_SCALE_IN_DOUBT, Calibration

TYPICAL_FULL_SCALE_DB, TYPICAL_UNCERTAINTY_DB = 121.0, 10.0  # midway between the two; see the docstring
GIVEN_UNCERTAINTY_DB = 1.0  # own choice: of a level that someone measured with care for this phone
# Own choice, after Kardous and Shaw (2014, 2016) and Garg et al. (2019): a phone compared once errs by 2 dB,
# since its response is not flat and its cut differs from the sound it was compared with.
PHONE_UNCERTAINTY_DB = 2.0
TOLD_UNCERTAINTY_DB = 1.0  # own choice: of the known level; class 1 and 2 instruments have less
# What a finding adds, dB, and why; docs/noise.md says where each number comes from. Own choices.
WIDENS = {
    FULL_SCALE_IN_DOUBT: (40.0, "So faint a recording was hardly made with the gain of a typical phone."),
    "clipped": (3.0, "Its loudest parts are cut off, so the true level is higher."),
    "automatic-gain": (10.0, "The recorder changed its gain, so no calibration holds well."),
    "noise-suppression": (6.0, "Noise suppression took away part of the sound."),
    "narrow-band": (3.0, "The recording has no high frequencies, so the true level is higher."),
    "headset-codec": (3.0, "A voice recording has no high frequencies, so the true level is higher."),
    "voice-message": (2.0, "A voice message has no high frequencies, so the true level is higher."),
    "high-pass": (1.0, "The recorder took low sound away, so C and Z levels are higher."),
    "synthetic-upper-band": (1.0, "Its high frequencies were made up by the codec."),
}


def typical_phone() -> Calibration:
    """Give what a phone is like about which nothing is known."""
    return Calibration(
        source="typical phone",
        full_scale_db=TYPICAL_FULL_SCALE_DB,
        uncertainty_db=TYPICAL_UNCERTAINTY_DB,
    )


def given(full_scale_db: float) -> Calibration:
    """Give a calibration that was told as a number, dB re 20 µPa."""
    return Calibration(source="given", full_scale_db=full_scale_db, uncertainty_db=GIVEN_UNCERTAINTY_DB)


def made_uncertainty_db(told_uncertainty_db: float) -> float:
    """Give the uncertainty of a calibration made from a known level, dB.

    Parameters
    ----------
    told_uncertainty_db
        Of the known level, dB.
    """
    return math.hypot(told_uncertainty_db, PHONE_UNCERTAINTY_DB)


def widen(calibration: Calibration, *, findings: Iterable[Finding]) -> Calibration:
    """Widen a calibration's uncertainty by what was found about the recording.

    Parameters
    ----------
    calibration
        As told, saved or typical.
    findings
        About the recording.

    Returns
    -------
    Calibration
        With the larger uncertainty and the reasons for it.
    """
    codes = dict.fromkeys(finding.code for finding in findings)
    found = [(code, *WIDENS[code]) for code in codes if code in WIDENS]
    total_db = math.hypot(calibration.uncertainty_db, *(wider_db for _, wider_db, _ in found))
    because = tuple(f"{why.removesuffix('.')} (±{wider_db:g} dB)." for _, wider_db, why in found)
    return replace(calibration, uncertainty_db=total_db, because=calibration.because + because)
