"""Parts: physics and a row of data become losses, size, price and limits."""
