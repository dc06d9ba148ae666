"""Clock forensics: how far two clocks are apart, from independent kinds of evidence."""
