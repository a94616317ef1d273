"""What a phone takes along."""
