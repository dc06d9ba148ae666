"""The routes of the JSON API, a module for each matter."""
