"""The colours of pictures and pages: words can be read, and nothing hangs on telling hues apart."""

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from chatter.report._palette import PAGE_COLOURS

LIGHT = {name: light for name, light, _ in PAGE_COLOURS}
DARK = {name: dark for name, _, dark in PAGE_COLOURS}
# Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15(6), 2009, severity 1.0
RED_BLIND = (
    (0.152286, 1.052583, -0.204868),
    (0.114503, 0.786281, 0.099216),
    (-0.003882, -0.048116, 1.051998),
)
GREEN_BLIND = ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.01182, 0.04294, 0.968881))
BLUE_BLIND = ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.3039))


def linear_rgb(colour):
    srgb = np.array(to_rgb(colour))
    # IEC 61966-2-1, the sRGB curve
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def lightness(linear):  # CIE 1976 L*, D65
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def contrast(one, other):  # WCAG 2.2, definition of contrast ratio
    lights = sorted(float(linear_rgb(colour) @ [0.2126, 0.7152, 0.0722]) for colour in (one, other))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("eye", [np.eye(3), RED_BLIND, GREEN_BLIND, BLUE_BLIND])
def test_water_land_coast_and_flags_stay_apart_for_every_eye(eye, scheme):
    def seen(name):
        return np.clip(np.array(eye) @ linear_rgb(scheme[name]), 0, 1)

    water, land = seen("water"), seen("land")
    for sign in ("coast", "mark", "ink"):
        for ground in (water, land):
            # 40: black on white is 100 apart; large shapes are asked to differ by 3 to 1, which is about this
            assert abs(lightness(seen(sign)) - lightness(ground)) > 40
    # Water and land carry dots and words too; their colours alone should still differ (0 to 1 each).
    assert np.abs(water - land).max() > 0.08


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("words", "ground"),
    [
        ("ink", "paper"),
        ("faint", "paper"),
        ("coast", "paper"),
        ("mark", "paper"),
        ("on-mark", "mark"),
        ("ink", "water"),
        ("ink", "land"),
    ],
)
def test_words_stand_out_from_their_ground(words, ground, scheme):
    assert contrast(scheme[words], scheme[ground]) >= 4.5  # WCAG 2.2, success criterion 1.4.3


def test_contrast_of_black_and_white_is_what_the_guidelines_say():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)  # WCAG 2.2, contrast ratio: 1 to 21
