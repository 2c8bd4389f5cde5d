"""Why a feature is there: one module a cause, on one scene that is fitted to all directions."""
