"""What people touch: the command line and what it prints and writes."""
