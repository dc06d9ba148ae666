"""Local pages and their JSON API: the whole job in a browser, on this machine alone."""
