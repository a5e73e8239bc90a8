"""The user's guide: text, pictures and page."""
