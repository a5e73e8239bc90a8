"""Find the wash that hides a repair in wood, from a photo and the user's own paints."""

__version__ = "0.1.0"
