"""Many recordings: order, failed rows, a stopped run that goes on, tables that people really write."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.analysis import analyse_batch
from chatter.errors import BadValueError, FileProblemError, InputError, OutputError


@pytest.fixture
def shop(tmp_path):
    rng = np.random.default_rng(11)
    for name in ("a.wav", "b.wav", "c.wav"):
        soundfile.write(tmp_path / name, rng.normal(0, 0.05, 48_000), 48_000)
    table = tmp_path / "table.csv"
    table.write_text(
        "file,rpm,flutes,depth_mm\na.wav,12000,2,\nmissing.wav,9000,3,1.5\nb.wav,0,2,\nc.wav,9000,3,1.5\n",
        encoding="utf-8",
    )
    return tmp_path


def documents(path):
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize("jobs", [1, 2])
def test_rows_are_answered_in_order_and_failed_rows_stay_in_place(shop, jobs):
    seen = []
    out = shop / "out.jsonl"
    summary = analyse_batch(
        shop / "table.csv", out=out, jobs=jobs, progress=lambda done, total: seen.append((done, total))
    )
    kinds = [document["document"] for document in documents(out)]
    assert kinds == ["cut", "error", "error", "cut"]
    assert (summary.rows, summary.answered, summary.failed, summary.resumed) == (4, 2, 2, 0)
    assert seen == [(0, 4), (1, 4), (2, 4), (3, 4), (4, 4)]
    assert [document["file"] for document in documents(out)[1:3]] == ["missing.wav", "b.wav"]
    assert "rpm" in documents(out)[2]["message"]
    assert documents(out)[3]["program"]["settings"]["depth_mm"] == 1.5


def test_stopped_run_goes_on_and_drops_the_partial_line(shop):
    out = shop / "out.jsonl"
    analyse_batch(shop / "table.csv", out=out)
    whole = out.read_text(encoding="utf-8")
    first = whole.splitlines(keepends=True)[0]
    out.write_text(first + '{"document": "cu', encoding="utf-8")
    summary = analyse_batch(shop / "table.csv", out=out)
    assert summary.resumed == 1
    assert out.read_text(encoding="utf-8") == whole


def test_error_rows_are_tried_again_and_take_their_place(shop):
    out = shop / "out.jsonl"
    analyse_batch(shop / "table.csv", out=out)
    soundfile.write(shop / "missing.wav", np.random.default_rng(5).normal(0, 0.05, 48_000), 48_000)
    summary = analyse_batch(shop / "table.csv", out=out)
    assert (summary.resumed, summary.failed) == (2, 1)
    assert [document["document"] for document in documents(out)] == ["cut", "cut", "error", "cut"]
    assert documents(out)[1]["recording"]["file"] == "missing.wav"


@pytest.mark.parametrize("change", ["content", "option"])
def test_changed_row_is_judged_again(shop, change):
    out = shop / "out.jsonl"
    analyse_batch(shop / "table.csv", out=out)
    if change == "content":
        soundfile.write(shop / "c.wav", np.random.default_rng(6).normal(0, 0.05, 48_000), 48_000)
    else:
        table = shop / "table.csv"
        table.write_text(
            table.read_text(encoding="utf-8").replace("c.wav,9000", "c.wav,9100"), encoding="utf-8"
        )
    assert analyse_batch(shop / "table.csv", out=out).resumed == 1


def test_interrupted_run_leaves_whole_lines_in_order(shop):
    out = shop / "out.jsonl"

    def stop(done, total):
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        analyse_batch(shop / "table.csv", out=out, progress=stop)
    assert [document["document"] for document in documents(out)] == ["cut", "error"]


@pytest.mark.parametrize(
    "text",
    [
        "\ufefffile,rpm,flutes\na.wav,12000,2\n",  # a spreadsheet's byte-order mark
        "file;rpm;flutes\r\na.wav;12000;2\r\n",  # a spreadsheet where the comma is the decimal sign
        "file\trpm\tflutes\na.wav\t12000\t2\n",  # cells pasted from a spreadsheet
        "note, flutes ,rpm,file\nfirst,2.0,12000,a.wav\n\n",  # another order, spaces, a column of one's own
    ],
)
def test_table_from_a_spreadsheet_is_read(shop, text):
    table = shop / "other.csv"
    table.write_text(text, encoding="utf-8", newline="")
    assert analyse_batch(table, out=shop / "out.jsonl").answered == 1


def test_name_with_a_letter_that_some_programs_take_for_a_line_end_is_read(shop):
    name = "a\u2028b\u0085c.wav"  # Unicode's line separator and next line; RFC 4180 knows CRLF alone
    (shop / "a.wav").rename(shop / name)
    table = shop / "other.csv"
    table.write_text(f"file,rpm,flutes\r\n{name},12000,2\r\n", encoding="utf-8", newline="")
    assert analyse_batch(table, out=shop / "out.jsonl").answered == 1


def test_column_that_nothing_uses_is_named(shop):
    table = shop / "other.csv"
    table.write_text("file,rpm,flutes,weather\na.wav,12000,2,rain\n", encoding="utf-8")
    assert analyse_batch(table, out=shop / "out.jsonl").unused_columns == ("weather",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("file,rpm\na.wav,12000\n", "no column flutes"),
        ("", "no column file"),
        ("file,rpm,flutes,max_rmp\na.wav,12000,2,9000\n", "rename it to max_rpm"),
        (
            "file,rpm,flutes,setup\na.wav,12000,2,6 mm long\n",
            "files nothing in a notebook, but the column setup",
        ),
        ("file,rpm,flutes,Notebook\na.wav,12000,2,n.db\n", "chatter cut on each, with its setup"),
    ],
)
def test_table_that_cannot_be_meant_is_refused(shop, text, said):
    table = shop / "other.csv"
    table.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        analyse_batch(table, out=shop / "out.jsonl")


def test_column_of_a_setup_without_any_entry_does_no_harm(shop):
    table = shop / "other.csv"
    table.write_text("file,rpm,flutes,setup,notebook\na.wav,12000,2,,\n", encoding="utf-8")
    assert analyse_batch(table, out=shop / "out.jsonl").answered == 1


def test_table_that_is_no_text_is_refused(shop):
    with pytest.raises(FileProblemError, match="CSV"):
        analyse_batch(shop / "a.wav", out=shop / "out.jsonl")


def test_results_never_overwrite_something_else(shop):
    for victim in ("table.csv", "a.wav"):
        before = (shop / victim).read_bytes()
        with pytest.raises(OutputError, match=victim):
            analyse_batch(shop / "table.csv", out=shop / victim)
        assert (shop / victim).read_bytes() == before


def test_results_in_a_folder_that_is_not_there_are_refused(shop):
    with pytest.raises(OutputError, match="nowhere"):
        analyse_batch(shop / "table.csv", out=shop / "nowhere" / "out.jsonl")


@pytest.mark.parametrize("jobs", [0, -1, 1.5, True])
def test_number_of_jobs_is_checked(shop, jobs):
    with pytest.raises(BadValueError, match="jobs"):
        analyse_batch(shop / "table.csv", out=shop / "out.jsonl", jobs=jobs)


def test_command_exits_with_1_when_a_row_failed_and_0_when_all_were_answered(shop, chatter_alone):
    ran = chatter_alone("batch", "table.csv", "--out", "out.jsonl", "--jobs", "2", cwd=shop)
    assert ran.code == 1
    assert ran.out == ""
    assert "2 of 4 rows answered" in ran.err
    told = " ".join(ran.err.split())
    assert "2 failed: missing.wav: there is no such file" in told  # the row, and what is wrong with it
    assert "1 undecided - - record again a.wav" in told
    (shop / "good.csv").write_text("file,rpm,flutes\na.wav,12000,2\n", encoding="utf-8")
    assert chatter_alone("batch", "good.csv", "--out", "good.jsonl", cwd=shop).code == 0


def lives(process):
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"  # ended, and only waiting to be counted by a container's first process


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc to see the processes; CI runs on Linux")
def test_killed_run_leaves_whole_lines_and_no_process_behind(shop):
    rows = "".join(f"{name}.wav,{rpm},2\n" for rpm in range(9000, 9040) for name in "abc")
    (shop / "long.csv").write_text("file,rpm,flutes\n" + rows, encoding="utf-8")
    out = shop / "out.jsonl"
    command = [sys.executable, "-m", "chatter", "batch", "long.csv", "--out", "out.jsonl", "--jobs", "2"]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    run = subprocess.Popen(command, cwd=shop, env=environment, stderr=subprocess.DEVNULL)
    give_up = time.monotonic() + 60
    while time.monotonic() < give_up and not (out.exists() and out.read_bytes().count(b"\n") >= 1):
        time.sleep(0.05)
    children = Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text(encoding="ascii").split()
    run.kill()
    run.wait()
    assert len(children) >= 2  # the workers were there
    give_up = time.monotonic() + 30
    while time.monotonic() < give_up and any(map(lives, children)):
        time.sleep(0.05)
    assert [child for child in children if lives(child)] == []
    complete = out.read_bytes().rpartition(b"\n")[0].splitlines()
    assert len(complete) >= 1
    assert [json.loads(line)["program"]["settings"]["rpm"] for line in complete] == [
        9000.0 + number // 3 for number in range(len(complete))
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="sends the signal that Ctrl-C sends elsewhere")
def test_run_stopped_by_hand_says_that_the_same_command_goes_on(shop):
    rows = "".join(f"{name}.wav,{rpm},2\n" for rpm in range(9000, 9400) for name in "abc")
    (shop / "long.csv").write_text("file,rpm,flutes\n" + rows, encoding="utf-8")
    out = shop / "out.jsonl"
    # Tests run in a shell's background inherit a Ctrl-C switched off; the user's is on.
    heeds = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
    start = f"{heeds}; from chatter.cli import main; main()"
    command = [sys.executable, "-c", start, "batch", "long.csv", "--out", "out.jsonl"]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    run = subprocess.Popen(command, cwd=shop, env=environment, stderr=subprocess.PIPE, text=True)
    give_up = time.monotonic() + 60
    while time.monotonic() < give_up and not (out.exists() and out.read_bytes().count(b"\n") >= 1):
        time.sleep(0.05)
    run.send_signal(signal.SIGINT)
    _, told = run.communicate(timeout=60)
    # 128 and the number of the signal, as shells count; or ended by it, where it came amid an import
    assert run.returncode in (130, -signal.SIGINT)
    assert "stopped: the same command goes on" in told
    assert "Traceback" not in told


TAP = (
    '{"document": "tap", "version": 1, "of": "%s", '
    '"modes": [{"frequency_hz": 812.4, "frequency_sd_hz": null, '
    '"damping_ratio": 0.021, "damping_ratio_sd": null, "damping_bound": "none", "decay_time_s": null, '
    '"level_db": 0}]}'
)


def test_taps_of_a_row_are_found_beside_the_table_and_named_in_its_settings(shop):
    for part in ("tool", "frame"):
        (shop / f"{part}.json").write_text(TAP % part, encoding="utf-8")
    table = shop / "taps.csv"
    table.write_text(
        "file,rpm,flutes,depth_from_mm,depth_to_mm,tap\na.wav,12000,2,0,3,tool.json; frame.json\n",
        encoding="utf-8",
    )
    out = shop / "taps.jsonl"
    analyse_batch(table, out=out)
    settings = documents(out)[0]["program"]["settings"]
    assert settings["tap"] == ["tool.json", "frame.json"]
    # sha256sum of the two files' contents
    assert [sha[:8] for sha in settings["tap_sha256"]] == ["f30f45e0", "d7cd15d4"]
    assert (settings["depth_from_mm"], settings["depth_to_mm"]) == (0, 3)
    assert analyse_batch(table, out=out).resumed == 1
    (shop / "frame.json").write_text(TAP % "work", encoding="utf-8")
    assert analyse_batch(table, out=out).resumed == 0


def test_header_in_upper_case_is_read(shop):
    (shop / "table.csv").write_text("File,RPM,Flutes,Depth_mm\na.wav,9000,3,1.5\n", encoding="utf-8")
    summary = analyse_batch(shop / "table.csv", out=shop / "out.jsonl")
    assert (summary.answered, summary.unused_columns) == (1, ())
    assert documents(shop / "out.jsonl")[0]["program"]["settings"]["depth_mm"] == 1.5


def test_column_that_is_there_twice_is_refused(shop):
    (shop / "table.csv").write_text("file,RPM,rpm,flutes\na.wav,9000,8000,3\n", encoding="utf-8")
    with pytest.raises(InputError, match="the column rpm is there twice"):
        analyse_batch(shop / "table.csv", out=shop / "out.jsonl")


def test_cell_with_a_unit_says_what_to_type(shop):
    (shop / "table.csv").write_text('file,rpm,flutes,depth_mm\na.wav,9000,3,"0,5"\n', encoding="utf-8")
    analyse_batch(shop / "table.csv", out=shop / "out.jsonl")
    assert "0.5, not 0,5 mm" in documents(shop / "out.jsonl")[0]["message"]


def test_row_with_one_depth_and_the_depths_of_a_ramp_fails(shop):
    (shop / "table.csv").write_text(
        "file,rpm,flutes,depth_mm,depth_from_mm,depth_to_mm\na.wav,9000,3,1,0.4,2.8\n", encoding="utf-8"
    )
    analyse_batch(shop / "table.csv", out=shop / "out.jsonl")
    assert documents(shop / "out.jsonl")[0]["message"] == (
        "depth_mm is 1.0: give either one depth, or depth_from_mm and depth_to_mm of a ramped pass, not both"
    )


def test_row_whose_idle_file_is_the_cut_itself_fails(shop):
    (shop / "copy.wav").write_bytes((shop / "a.wav").read_bytes())
    (shop / "table.csv").write_text("file,rpm,flutes,idle\na.wav,9000,3,copy.wav\n", encoding="utf-8")
    analyse_batch(shop / "table.csv", out=shop / "out.jsonl")
    assert documents(shop / "out.jsonl")[0]["message"].startswith("copy.wav: it is the recording of the cut")


def test_answers_to_recordings_that_the_table_lacks_are_not_lost(shop):
    out = shop / "out.jsonl"
    analyse_batch(shop / "table.csv", out=out)
    before = out.read_text(encoding="utf-8")
    shorter = shop / "shorter.csv"
    shorter.write_text("file,rpm,flutes\na.wav,12000,2\n", encoding="utf-8")
    with pytest.raises(OutputError, match="holds an answer to recordings that the table doesn't name"):
        analyse_batch(shorter, out=out)
    assert out.read_text(encoding="utf-8") == before
