"""The open formats: each is declared once in `registry`; a reader is imported when needed."""
