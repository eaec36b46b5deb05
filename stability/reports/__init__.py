"""Reports and figures: plain views in, text and SVG out; no records and no clock."""
