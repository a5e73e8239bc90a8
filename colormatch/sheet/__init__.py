"""The printed sheet for many swatches: layout, PDF, reading, swatches."""
