"""Stand-in for the build backend while a source archive is fetched; see `build_meta`."""
