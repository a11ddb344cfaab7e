"""What a calibration is worth, and what makes it worth less."""

import pytest

from chatter.model import Finding
from chatter.noise.calibration import given, made_uncertainty_db, typical_phone, widen


def finding(code):
    return Finding(code=code, severity="warning", message="Do something.")


def test_typical_phone_lies_midway_between_androids_two_numbers():
    # Android Compatibility Definition 5.11 and 5.4: 94 dB at 520 of 16-bit rms, 90 dB at 2500.
    import math

    quiet = 94 + 20 * math.log10(32_768 / 520)
    loud = 90 + 20 * math.log10(32_768 / 2500)
    assert (quiet, loud) == (pytest.approx(130.0, abs=0.05), pytest.approx(112.35, abs=0.05))
    phone = typical_phone()
    assert phone.full_scale_db == pytest.approx((quiet + loud) / 2, abs=0.5)
    # Both lie inside the range.
    assert (
        phone.full_scale_db - phone.uncertainty_db < loud < quiet < phone.full_scale_db + phone.uncertainty_db
    )


@pytest.mark.parametrize(
    ("codes", "wanted"),
    # Squares add (ISO/IEC Guide 98-3, 5.1.2), by hand: sqrt(1 + 9), sqrt(1 + 9 + 100); 'quiet' says nothing.
    [((), 1.0), (("clipped",), 3.162), (("clipped", "automatic-gain"), 10.488), (("quiet",), 1.0)],
)
def test_findings_widen_the_uncertainty_in_squares(codes, wanted):
    wide = widen(given(120.0), findings=[finding(code) for code in codes])
    assert wide.uncertainty_db == pytest.approx(wanted, abs=0.001)
    assert len(wide.because) == len([code for code in codes if code != "quiet"])
    assert wide.full_scale_db == 120.0


def test_finding_that_comes_twice_widens_once():
    once, twice = (widen(given(120.0), findings=[finding("clipped")] * times) for times in (1, 2))
    assert once == twice


def test_made_calibration_is_no_better_than_a_phone_compared_once():
    # Kardous and Shaw (2014): the best programs on phones meet a reference within 2 dB.
    assert made_uncertainty_db(0.0) == pytest.approx(2.0)
    assert made_uncertainty_db(1.5) == pytest.approx(2.5)  # 3-4-5 by hand
