"""From readings at scattered places to values on an even mesh."""
