"""Keep every reading and result, and find them again."""
