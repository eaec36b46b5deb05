"""How long may be written, and on what evidence. Pure."""
