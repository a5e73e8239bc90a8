"""The Swatches page, one module per view."""
