"""At the bench: amounts to mix, schedule, cautions, check of the dried repair."""
