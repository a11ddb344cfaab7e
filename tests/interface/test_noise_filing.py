"""`chatter noise --setup`: what makes a new setup, and what of a filed answer is told."""

import json

import pytest

from tests.interface.test_cli import is_one_clear_line

FILED = ("--setup", "new", "--notebook", "n.db")


def test_flutes_alone_make_the_new_setup_as_the_message_says(chatter, noise_wav):
    without = chatter("noise", noise_wav, *FILED)
    assert is_one_clear_line(without)
    assert "or flutes to make a new one" in without.err
    ran = chatter("noise", noise_wav, *FILED, "--flutes", 2, "--json")
    assert (ran.code, "made the setup 'new'" in ran.err) == (0, True)
    shown = json.loads(chatter("setup", "show", "new", "--notebook", "n.db", "--json").out)
    assert (shown["facts"]["flutes"], len(shown["noises"])) == (2, 1)
    assert chatter("noise", noise_wav, *FILED, "--flutes", 2).code == 0  # a setup that is there, the same way


def test_flutes_alone_without_a_setup_still_lack_a_speed(chatter, noise_wav):
    ran = chatter("noise", noise_wav, "--flutes", 2)
    assert is_one_clear_line(ran)
    assert "both rpm and flutes" in ran.err


@pytest.mark.parametrize("flutes", [2, 3])
def test_flutes_of_a_new_setup_are_those_of_the_recordings_cut_or_refused(
    chatter, noise_wav, tmp_path, flutes
):
    cut = chatter("cut", noise_wav, "--rpm", 12_000, "--flutes", 2, "--json").out
    (tmp_path / "cut.json").write_text(cut, encoding="utf-8")
    ran = chatter("noise", noise_wav, *FILED, "--flutes", flutes, "--cut", "cut.json", "--json")
    if flutes == 2:
        assert json.loads(ran.out)["program"]["settings"]["rpm"] == 12_000
    else:
        assert is_one_clear_line(ran)
        assert "flutes is 3: give 2, as this recording's cut has it" in ran.err
        assert not (tmp_path / "n.db").exists()
