"""A frame of beams, springs and rigid bodies: one factorisation, a right-hand side a seat."""
