"""The bench: a page in the browser beside a board on the desk. It steers by the link's bench lease alone, never a pin."""
