"""Widgets shared by pages: look, photo editor, forms and texts for cards and photos, swatch colors."""
