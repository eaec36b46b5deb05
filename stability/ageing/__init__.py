"""Numbers only: arrays in, frozen results out."""
