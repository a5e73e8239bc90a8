"""The color of marked regions, how well each represents its surface, and its surroundings."""
