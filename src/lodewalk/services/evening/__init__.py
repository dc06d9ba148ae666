"""One field day as a person needs it in the evening: bands, findings, proposals, what to do."""
