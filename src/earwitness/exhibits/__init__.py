"""Pictures as data, and their renderers."""
