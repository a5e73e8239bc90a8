"""Color: the one converter, the one door to CIEDE2000, words for a difference, spectra."""
