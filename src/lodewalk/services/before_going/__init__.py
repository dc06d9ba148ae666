"""Before going: the place, what to expect, and a plan that is only thought of."""
