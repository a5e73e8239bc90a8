"""The dried repair: compare it with the sound wood, choose the next step, learn from the result."""
