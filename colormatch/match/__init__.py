"""Find the user's washes that turn the damage into the sound wood."""
