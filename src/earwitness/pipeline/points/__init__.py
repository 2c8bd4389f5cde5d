"""Points of quality: each module says of one side of the data whether it is fit to conclude from."""
