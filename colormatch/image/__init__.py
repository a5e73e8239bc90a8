"""From the bytes of a photo to upright pixels in linear light: formats, EXIF, color profile, limits."""
