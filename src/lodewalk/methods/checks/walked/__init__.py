"""The survey as it was walked: coverage of the plan, distance off it, and constant shifts."""
