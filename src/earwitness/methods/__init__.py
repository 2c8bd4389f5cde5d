"""One module a published document: its tables, constants and formulas, arrays in and arrays out."""
