"""The exchange with phones: what they send is applied exactly once, or kept until settled."""
