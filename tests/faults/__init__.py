"""
Phones and server through bad networks and sudden deaths: nothing lost, doubled or invented.

``python -m tests.faults`` (``make faults``) runs it in full and prints what was injected.
"""
