"""The shell: each service loads, decides through pure rooms, saves."""
