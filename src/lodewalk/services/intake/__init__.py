"""Raw files before and after they are added: names made safe, previews, column maps, the list."""
