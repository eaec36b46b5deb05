"""Water, methoxy and gel point, and what is said before an act. Pure."""
