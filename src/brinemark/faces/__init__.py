"""What people touch: the command line, later the bench pages."""
