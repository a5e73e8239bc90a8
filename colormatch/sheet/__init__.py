"""The printed sheet for many swatches, end to end: layout, PDF, reading, swatches."""
