"""Short form of the benchmark of roughness: what does not repeat grows with it."""

import numpy as np

from tests.benchmarks.roughness import of_scene, stable_scenes


def test_rougher_chips_make_more_of_the_sound_not_repeat():
    scenes = stable_scenes("workshop", 3)
    smooth, rough = (
        np.array([cut for scene in scenes for cut in of_scene(scene, roughness=roughness)])
        for roughness in (0.01, 0.3)
    )
    assert len(smooth) == len(rough) >= 2
    assert np.all(np.median(rough, axis=0) > np.median(smooth, axis=0) + 1)  # the force is 30 times as rough
