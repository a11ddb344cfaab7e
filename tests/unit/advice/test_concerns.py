"""What settings strain: which of them a concern is about."""

from chatter.advice.concerns import Setting, find_concerns, find_heard_concerns
from chatter.model import CutSetup

# High-speed steel cuts wrought aluminium at up to 800 sfm (materials.toml): 12,936 rpm with 6 mm.
SETUP = CutSetup(
    rpm=18_000, flutes=2, diameter_mm=6.0, material="6061", stick_out_mm=28.0, feed_mm_min=1_440, depth_mm=1.0
)


def setting(set_rpm, *, feed_mm_min=None):
    return Setting(set_rpm=set_rpm, feed_mm_min=feed_mm_min, depth_mm=1.0)


def burning(concerns):
    (told,) = [one.message for one in concerns if one.code == "speed-hss"]
    return told


def test_burning_is_told_once_of_every_speed_and_of_the_present_one():
    tried = [setting(14_100), setting(12_000), setting(24_000)]
    told = burning(find_concerns(SETUP, settings=tried, keeps_present=False))
    speeds = "14,100 rpm (266 m/min), 24,000 rpm (452 m/min) and the present 18,000 rpm (339 m/min) it burns."
    assert told.endswith(f"at {speeds}")


def test_burning_of_a_present_speed_that_is_kept_or_left_is_told_so():
    for settings, keeps in (((), True), ([setting(12_000)], False), ([setting(18_000)], False)):
        told = burning(find_concerns(SETUP, settings=settings, keeps_present=keeps))
        assert told.endswith("at the present 18,000 rpm (339 m/min) it burns.")


def test_settings_that_were_heard_have_no_present_one_and_name_their_chips():
    # 0.04 mm a tooth is usual, 0.2 mm is not; 28 mm over 6 mm is 4.7.
    heard = [setting(14_100, feed_mm_min=5_640), setting(13_000, feed_mm_min=5_200), setting(12_000)]
    found = find_heard_concerns(SETUP, settings=heard)
    assert [one.code for one in found] == ["chip-thick", "chip-thick", "speed-hss", "stick-out", "speed-low"]
    assert found[0].message.startswith("14,100 rpm: Each tooth would take 0.2 mm")
    assert found[1].message.startswith("13,000 rpm: Each tooth would take 0.2 mm")
    assert burning(found).endswith("at 14,100 rpm (266 m/min) and 13,000 rpm (245 m/min) it burns.")
    assert "4.7 times its diameter" in found[3].message


def test_concern_of_a_setting_that_was_heard_is_the_one_of_the_best():
    slow = CutSetup(rpm=1_000, flutes=2, diameter_mm=6.0, material="mild steel")
    found = find_heard_concerns(slow, settings=[setting(20_000), setting(30_000)])
    assert [one.message[:13] for one in found if one.code == "speed-far"] == ["At 20,000 rpm"]
