"""The cup and the bench: amounts, measures, area, schedule, cautions."""
