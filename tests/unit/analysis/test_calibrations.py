"""Calibrations that two processes keep at once."""

import json
from threading import Thread
from unittest import mock

import pytest
import soundfile

from chatter.analysis import _calibrations, _noise, make_calibration
from chatter.errors import BadValueError, OutputError
from tests.interface.noise_made import RATE_HZ, sine

THEIRS = {"full_scale_db": 120.0, "uncertainty_db": 2.0}


@pytest.fixture
def recording(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    path = tmp_path / "hum.wav"
    soundfile.write(path, sine(1000.0, 0.1, 4), RATE_HZ, subtype="FLOAT")
    return path


@pytest.mark.parametrize("theirs", ["other phone", "My Phone"])
def test_calibration_that_another_process_kept_meanwhile_stays(recording, theirs):
    measure = _noise.measure

    def keep_theirs(path):
        place = _calibrations.calibrations_file()
        place.parent.mkdir(parents=True)
        kept = {"document": "calibrations", "version": 1, "calibrations": {theirs: THEIRS}}
        place.write_text(json.dumps(kept), encoding="utf-8")
        return measure(path)

    with mock.patch.object(_noise, "measure", keep_theirs):
        if theirs == "My Phone":
            with pytest.raises(BadValueError, match="is to be replaced"):
                make_calibration("my phone", recording, level_db=94.0)
        else:
            make_calibration("my phone", recording, level_db=94.0)
            assert _calibrations.find_calibration("my phone").source == "saved"
    assert _calibrations.find_calibration(theirs).full_scale_db == 120.0


def test_two_calibrations_kept_at_the_same_moment_both_stay(recording):
    write_all, others = _calibrations._write_all, []

    def let_another_in(known):
        if not others:  # between this one's last look and its writing
            others.append(
                Thread(target=make_calibration, args=("other", recording), kwargs={"level_db": 90.0})
            )
            others[0].start()
            others[0].join(timeout=2.0)  # it is done in a tenth of that, or waits for its turn
        write_all(known)

    with mock.patch.object(_calibrations, "_write_all", let_another_in):
        make_calibration("mine", recording, level_db=94.0)
        others[0].join()
    found = [_calibrations.find_calibration(name).full_scale_db for name in ("mine", "other")]
    assert found[0] - found[1] == pytest.approx(4.0)


def test_calibrations_that_another_program_holds_for_long_give_one_line(recording, monkeypatch):
    monkeypatch.setattr(_calibrations, "BUSY_S", 0.1)
    with _calibrations._alone(), pytest.raises(OutputError, match=r"held it for 0 s: try again") as caught:
        make_calibration("mine", recording, level_db=94.0)
    assert "\n" not in str(caught.value)
    make_calibration("mine", recording, level_db=94.0)  # the lock ended with its holder


def test_calibrations_in_a_place_that_takes_no_file_give_one_line(recording, tmp_path):
    (tmp_path / "data" / "chatter" / "calibrations.lock").mkdir(parents=True)
    with pytest.raises(OutputError, match="it can't be written"):
        make_calibration("mine", recording, level_db=94.0)
