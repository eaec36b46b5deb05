"""Rules of the bench: from what was read to a viscosity, and the doubts it raises. Pure."""
