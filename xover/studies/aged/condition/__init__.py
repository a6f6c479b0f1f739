"""How far has age moved it: the network found today against the original, part by part and in dB."""
