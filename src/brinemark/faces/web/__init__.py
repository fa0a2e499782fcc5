"""The bench pages: the whole job in a browser on this machine, without commands."""
