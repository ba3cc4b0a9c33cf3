"""Sound in: blocks of samples from microphones, files and pipes, and what fails about them."""
