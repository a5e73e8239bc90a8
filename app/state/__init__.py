"""State of an open window: the current repair, the library, and the address within the pages."""
