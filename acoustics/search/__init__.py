"""Choosing splays, tilt and trim: objective, warm start, discrete search, proof, tolerance, shading."""
