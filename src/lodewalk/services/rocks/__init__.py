"""From map to rocks: tracing lineaments, fitting bodies, telling depths."""
