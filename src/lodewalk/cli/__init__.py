"""The command line: one module a command; errors become one line and an exit code."""
