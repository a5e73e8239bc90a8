"""The color of marked regions, how well each stands for its surface, and what lies around it."""
