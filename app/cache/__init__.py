"""The only caches: everything slow that a page asks for, remembered by what it was computed from; all of it is here.

A photo is named by its path, which is the hash of its bytes in the library's folder.
"""

from app.cache.boards import board, cells, sheet, sheet_in, sheet_preview
from app.cache.keys import Aim, LibraryState, MarkedPhoto, Reference
from app.cache.photos import card_in, decoded, facts, learned, neutral, reading, shot, size
from app.cache.pictures import as_taken, balanced, near, pictured, thumbnail
from app.cache.shelf import cameras, fit_ahead, grounds, lesson, library, paint_grid, spoiled, stored, workshop
from app.cache.washes import grain, ranking, spots, what_next

__all__ = [
    "Aim",
    "LibraryState",
    "MarkedPhoto",
    "Reference",
    "as_taken",
    "balanced",
    "board",
    "cameras",
    "card_in",
    "cells",
    "decoded",
    "facts",
    "fit_ahead",
    "grain",
    "grounds",
    "learned",
    "lesson",
    "library",
    "near",
    "neutral",
    "paint_grid",
    "pictured",
    "ranking",
    "reading",
    "sheet",
    "sheet_in",
    "sheet_preview",
    "shot",
    "size",
    "spoiled",
    "spots",
    "stored",
    "thumbnail",
    "what_next",
    "workshop",
]
