"""The invented study as a seeded generator, fed through the doors a user has."""
