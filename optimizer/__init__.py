"""Search, storage, terminal and page."""
