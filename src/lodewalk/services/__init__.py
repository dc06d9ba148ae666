"""The verbs: all that the command line and the pages may call."""
