"""What hangs, and whether it may: files, equipment, geometry. Imports nothing from acoustics."""
