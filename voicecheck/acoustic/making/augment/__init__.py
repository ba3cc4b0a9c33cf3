"""An operating theatre around clean speech: voices, rooms, masks, noise and levels, on the GPU.

Every function takes a batch of waveforms (items × samples, ±1) or of their spectra (items × frames
× mel bins) and draws anew for each item. `strength` (0 to 1) grows during training, because too
much noise at the start teaches nothing.
"""
