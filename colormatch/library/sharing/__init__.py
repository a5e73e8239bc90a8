"""Clean photos for sharing: the same picture, without metadata about the photographer.

Only data known to be needed is kept: pixels, orientation, color profile, and make and model of the camera. Location,
owner, serial numbers, dates, captions, maker notes, thumbnails and further pictures are removed.
"""
