"""The steps of the processing: each joins records to methods and returns its own columns."""
