"""Calibrations that two processes keep at once."""

import json
from unittest import mock

import pytest
import soundfile

from chatter.analysis import _calibrations, _noise, make_calibration
from chatter.errors import BadValueError
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
