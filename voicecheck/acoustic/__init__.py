"""Making the acoustic model that the recogniser loads (only graph.py is needed at run time)."""
