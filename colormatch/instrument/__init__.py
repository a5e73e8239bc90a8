"""Files of measuring instruments (CGATS text, CxF3), read into CIELAB under D65."""
