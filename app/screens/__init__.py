"""The four pages of a repair (Photo, Match, Mix and Check), each with its forms and texts."""
