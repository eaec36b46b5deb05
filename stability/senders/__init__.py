"""Handing one message to one receiver: mail, the text file."""
