"""Photos for other people: the same picture, without what its file tells of the photographer.

Only what is known to be needed is kept: pixels, orientation, color profile, and make and model of the camera. Location,
owner, serial numbers, dates, captions, maker notes, thumbnails and further pictures stay behind.
"""
