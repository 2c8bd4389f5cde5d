"""Pure functions on arrays: sweeps, gates, arrivals, radiation, splices, smoothing."""
