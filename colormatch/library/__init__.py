"""The personal swatch library: store, photos, backup, exchange, starter.

``Library.open()`` is the door; ``library.shelf()`` is what a match takes from it.
"""

from colormatch.library.store import Library, SavedRepair, Stored

__all__ = ["Library", "SavedRepair", "Stored"]
