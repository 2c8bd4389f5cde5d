"""Everything that goes out, from one typed context: page, PDF, data pack."""
