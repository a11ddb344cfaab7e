"""Noise from recordings: levels, bands, tones, and who hears them."""
