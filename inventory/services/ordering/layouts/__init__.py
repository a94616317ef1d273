"""Layouts: faces of an order on rolls in stock, made, looked at, frozen and printed from."""
