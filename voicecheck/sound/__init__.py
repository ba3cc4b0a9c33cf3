"""Sound in: blocks of samples from microphones, files and pipes, and their failures."""
