"""Cables, hangers and saddles: elements that hang, pull and may go slack."""
