"""From a photo to CIELAB: read, find the neutral reference, correct, sample."""
