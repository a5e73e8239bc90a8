"""The open repair: its content, its document and what depends on it."""
