"""What can be said of a record from its own numbers: time order, noise, spikes, the base."""
