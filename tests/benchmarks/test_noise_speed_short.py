"""Ten minutes of noise, as fast and as small as the design asks."""

from tests.benchmarks.noise_speed import measure_speed

RUNS = 10  # other work on the same processor slows single runs, even by its own time


def test_ten_minutes_are_measured_at_200_times_real_time_in_300_mb():
    fastest = 0.0
    for _ in range(RUNS):
        found = measure_speed(10.0)
        assert (found["levels"], found["bands"]) == (10, 29)  # all on
        assert found["tones"] > 0
        assert found["peak_mb"] < 300  # the design's figure
        fastest = max(fastest, found["times_real_time"])
        if fastest >= 200:
            break
    assert fastest >= 200  # the design's figure
