"""The one app of signfleet: signs from the press to the post and back."""
