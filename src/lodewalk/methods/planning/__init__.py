"""What a survey would find and what it would miss."""
