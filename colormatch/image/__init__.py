"""From a photo file to upright pixels in linear light: formats, EXIF, color profile, limits."""
