"""Figures: each module holds the data of one thought and a few lines that draw it on the canvas."""
