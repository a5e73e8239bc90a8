"""The Swatches page, one module for each view of it."""
