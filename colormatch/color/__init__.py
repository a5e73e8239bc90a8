"""Color: the only converter, the only CIEDE2000, words for a difference, and spectra."""
