"""Arrays in, arrays out: spectra, combs, angle. Knows nothing of files or of verdicts."""
