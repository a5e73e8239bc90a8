"""References of known color in a photo (gray card, three-step card, chart, chips) and the correction by them."""
