"""From raw readings to anomalies: position, lines, diurnal, levels and their errors."""
