"""From reduced responses to curves and figures of merit, each with its uncertainty."""
