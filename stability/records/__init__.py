"""The database: tables, engine, migrations, and queries by aggregate.

A *store* here is a place with a temperature, never the database. Rows never leave this room: queries
return plain values.
"""
