"""The guide: its text and pictures, and the page that shows them."""
