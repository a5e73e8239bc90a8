"""All caches of the app: slow results for pages, keyed by their inputs.

A photo's key is its path, which contains the hash of its bytes.
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
