"""One recording of taps in, the modes that rang out: onsets, decays, modes."""
