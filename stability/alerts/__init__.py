"""Whether: evidence into findings, findings into the life of an alert, and its words. Pure."""
