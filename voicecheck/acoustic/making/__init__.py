"""Making the acoustic model: speech, features, network, training. Needs the extra [train]."""
