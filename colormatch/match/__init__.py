"""Which of the user's washes turns the damage into the sound wood."""
