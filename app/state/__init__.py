"""What the open window holds: the repair at hand, the library, where in the pages somebody is."""
