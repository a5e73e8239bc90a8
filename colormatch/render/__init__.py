"""Pictures and printed matter made from results."""
