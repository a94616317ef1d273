"""Files in and out: what other systems write is read here, and put into our words."""
