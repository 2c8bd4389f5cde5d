"""From figures, curves and claims to statements, each with its place and its evidence."""
