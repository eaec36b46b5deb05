"""Alembic scripts, shipped in the wheel."""
