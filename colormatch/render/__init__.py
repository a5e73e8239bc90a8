"""Pictures, the report and labels made from results."""
