"""Turn a result into a table, a picture, a page."""
