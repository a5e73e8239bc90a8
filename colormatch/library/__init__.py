"""The personal swatch library: store, photos, backup, exchange, starter."""
