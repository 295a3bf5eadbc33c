"""Lines and their clauses: which words belong to which part, place and code."""
