"""Measuring instruments' files (CGATS text, CxF3), read as CIELAB under D65."""
