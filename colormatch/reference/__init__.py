"""What a photo holds of known color: gray card, three-step card, 24-patch chart, chips; and the correction by it."""
