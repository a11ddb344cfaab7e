from chatter.simulate import Conditions, Mode, Tool, is_stable


def test_period_doubling_of_two_equal_teeth_is_found_though_it_repeats_every_turn():
    modes = (Mode(axis="x", frequency_hz=922, damping_ratio=0.011, stiffness_n_m=1340049.65),)
    conditions = Conditions(
        rpm=10_000,
        immersion=0.5,
        direction="climb",
        feed_per_tooth_m=1e-4,
        pressure_pa=6e8,
        force_ratio=1 / 3,
    )
    # Exact Chebyshev-collocation limit, computed independently of this project: 2.1047 mm, period doubling.
    assert is_stable(Tool(flutes=2, modes=modes), conditions, depth_m=0.85 * 2.1047e-3)
    assert not is_stable(Tool(flutes=2, modes=modes), conditions, depth_m=1.15 * 2.1047e-3)
