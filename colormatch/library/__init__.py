"""The personal swatch library: store, photos, backup, exchange, starter.

``Library.open()`` opens one; ``library.shelf()`` gives a match all it needs.
"""

from colormatch.library.store import Library, SavedRepair, Stored

__all__ = ["Library", "SavedRepair", "Stored"]
