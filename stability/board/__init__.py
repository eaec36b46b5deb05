"""The board: plain views in, renderables, text and SVG out; no records and no clock."""
