"""What a run changed in what the survey says: verdicts, readings, lineaments, depths."""
